#include "drivers/protocol/scpi.hpp"

#include <algorithm>
#include <cmath>

namespace trackrod {
namespace {

constexpr unsigned longest_error_queue =
    100;  // an instrument that never runs out of errors must not hold up the readings

// The four parts of the answer to *IDN? (IEEE 488.2, 10.14), and that answer itself.
constexpr std::array<std::string_view, 5> identity_names{"maker", "model", "serial", "firmware", "identity"};

}  // namespace

Scpi::Scpi(const ScpiSettings& s)
    : identify_{s.identify ? s.identify->value : ""},
      error_query_{s.error_query.value},
      line_end_{s.line_end},
      timeout_{s.timeout},
      identified_{!s.identify} {
  Problems none;
  fields_ = check_scpi(s, none);
  cut_off_ = s.cut_off.value + line_end_;
  for (const auto& [name, setting] : s.settings) {
    targets_.emplace_back(setting);
    lists_.push_back(setting.list ? std::make_unique<ScpiValueList>(setting.list->value, setting.digits) : nullptr);
  }
  for (const auto& [name, relay] : s.relays) targets_.emplace_back(relay);
  for (const auto& [name, reading] : s.readings)
    readings_.push_back({reading.query.value, reading.every, reading.block, {}, false});

  std::size_t longest = error_query_.size();
  for (const auto& target : targets_) longest = std::max(longest, target.longest_message());
  for (const auto& reading : readings_) longest = std::max(longest, reading.query.size());
  for (const auto& list : lists_)
    if (list) longest = std::max(longest, list->longest_message());
  out_.reserve(longest + 64);
  identity_.reserve(LineReader::longest);
}

std::optional<double> Scpi::Reading::value_in(std::string_view answer) const noexcept {
  if (!block) return read_number(answer);
  const auto data = read_block(answer);
  return data ? block->of(*data) : std::nullopt;
}

void Scpi::set(FieldIndex field, double value) noexcept {
  if (field >= targets_.size()) return;
  // A plain value ends a list: first it is what the instrument falls back on, then the list goes.
  if (auto* list = list_of(field); list != nullptr && std::isfinite(value) && list->is_prepared() &&
                                   (list->is_running() || !targets_[field].wants(value))) {
    list->stop();
    targets_[field].forget();
  }
  bool beyond = false;
  if (!std::isfinite(value) || (targets_[field].want(value, beyond) && beyond)) ++counters_.clamped;
}

bool Scpi::settled(FieldIndex field) const noexcept {
  if (field < lists_.size() && lists_[field] && lists_[field]->is_stopping()) return false;
  return field < targets_.size() && targets_[field].settled();
}

bool Scpi::prepare_list(FieldIndex field, std::span<const ListPoint> points) noexcept {
  auto* list = list_of(field);
  return list != nullptr && list->prepare(points);
}

bool Scpi::start_list(FieldIndex field) noexcept {
  auto* list = list_of(field);
  if (list == nullptr || !list->is_ready()) return false;
  list->start();
  return true;
}

std::span<const std::byte> Scpi::due(BenchTime now) noexcept {
  if (open_ != Question::none) {
    if (now - asked_ < timeout_) return {};
    no_answer();
  }
  if (!identified_) {
    if (out_of_step_) return ask(Question::errors, 0, error_query_, now);
    if (now < identify_not_before_) return {};
    return ask(Question::identity, 0, "*IDN?", now);
  }
  for (auto& t : targets_)
    if (t.unsent && now >= t.not_before) return write(t);
  if (const auto of_list = lists_due(); !of_list.empty()) return of_list;
  if (const auto starved = ask_reading(now, true); !starved.empty()) return starved;
  if (const auto owed = ask_what_is_owed(now); !owed.empty()) return owed;
  if (asks_identity_) return ask(Question::identity, 0, "*IDN?", now);
  return ask_reading(now, false);
}

std::span<const std::byte> Scpi::write(ScpiTarget& target) {
  target.write(out_);
  owes_errors_ = true;
  errors_in_a_row_ = 0;
  out_ += line_end_;
  return std::as_bytes(std::span{out_});
}

std::span<const std::byte> Scpi::send(std::string_view command) {
  out_ = command;
  owes_errors_ = true;
  errors_in_a_row_ = 0;
  out_ += line_end_;
  return std::as_bytes(std::span{out_});
}

// What ends a list goes before what starts one, and that before what hands one over.
std::span<const std::byte> Scpi::lists_due() {
  for (auto next : {&ScpiValueList::stopping, &ScpiValueList::starting, &ScpiValueList::preparing})
    for (const auto& list : lists_)
      if (list)
        if (const auto message = (*list.*next)(); !message.empty()) return send(message);
  return {};
}

// Whatever the instrument does now is not known.
void Scpi::end_lists() {
  for (std::size_t i = 0; i < lists_.size(); ++i) {
    if (!lists_[i]) continue;
    lists_[i]->stop();
    targets_[i].forget();
  }
}

std::span<const std::byte> Scpi::ask(Question question, std::size_t index, std::string_view text, BenchTime now) {
  open_ = last_ = question;
  open_index_ = index;
  asked_ = now;
  out_ = text;
  out_ += line_end_;
  return std::as_bytes(std::span{out_});
}

// Read-back and error queue take turns, so that values which change all the time starve neither.
std::span<const std::byte> Scpi::ask_what_is_owed(BenchTime now) {
  if (out_of_step_) return ask(Question::errors, 0, error_query_, now);
  if (!owes_errors_ || last_ != Question::read_back) {
    for (std::size_t i = 0; i < targets_.size(); ++i) {
      const auto place = (next_read_back_ + i) % targets_.size();
      if (!targets_[place].owes_read_back) continue;
      next_read_back_ = place + 1;
      return ask(Question::read_back, place, targets_[place].read_back(), now);
    }
  }
  if (owes_errors_) return ask(Question::errors, 0, error_query_, now);
  return {};
}

// The reading that has waited longest. Starved: settings kept it from its turn for a whole cycle.
std::span<const std::byte> Scpi::ask_reading(BenchTime now, bool only_starved) {
  if (out_of_step_) return {};
  Reading* next = nullptr;
  for (auto& r : readings_) {
    if (!r.started) {
      r.started = true;
      r.next = now;
    }
    const auto from = only_starved ? r.next + r.every : r.next;
    if (now >= from && (next == nullptr || r.next < next->next)) next = &r;
  }
  if (next == nullptr || (only_starved && last_ == Question::reading)) return {};
  next->next += next->every * ((now - next->next) / next->every + 1);
  return ask(Question::reading, static_cast<std::size_t>(next - readings_.data()), next->query, now);
}

bool Scpi::expects_block() const noexcept {
  return open_ == Question::reading && readings_[open_index_].block.has_value();
}

bool Scpi::on_bytes(std::span<const std::byte> bytes, Stamp stamp, FieldSink& sink) noexcept {
  bool good = false;
  while (!bytes.empty()) {
    bool too_long = false;
    const auto line = lines_.next(bytes, expects_block(), too_long);
    if (too_long) ++counters_.bad_length;
    if (!line) break;
    if (answered(*line, stamp, sink)) {
      good = true;
      ++counters_.good;
    } else {
      ++counters_.bad_length;
    }
  }
  return good;
}

// False when the line is no answer to the open question: a late one, or garbage. The wait goes on.
bool Scpi::answered(std::string_view line, Stamp stamp, FieldSink& sink) {
  const auto code = read_error_entry(line);
  switch (open_) {
    case Question::none:
      return false;
    case Question::errors:
      if (!code) return false;
      open_ = Question::none;
      take_error(*code, stamp.when);
      return true;
    case Question::identity:
      return !code && take_identity(line, stamp.when);
    case Question::read_back: {
      auto& target = targets_[open_index_];
      const auto number = target.value_in(line);
      if (!number) return false;
      open_ = Question::none;
      take_read_back(target, *number, stamp.when);
      return true;
    }
    case Question::reading: {
      const auto number = readings_[open_index_].value_in(line);
      if (!number) return false;
      open_ = Question::none;
      sink.field(static_cast<FieldIndex>(targets_.size() + open_index_), *number, stamp);
      return true;
    }
  }
  return false;
}

// A name is no number; one that comes now answers an earlier question.
bool Scpi::take_identity(std::string_view line, BenchTime now) {
  if (read_number(line)) return false;
  open_ = Question::none;
  identity_.assign(line);
  asks_identity_ = false;
  identified_ = line.find(identify_) != std::string_view::npos;
  if (identified_) return true;
  ++counters_.refused;
  tell(scpi_wrong_instrument);
  identify_not_before_ = now + timeout_;
  return true;
}

std::size_t Scpi::identity_items() const noexcept { return identity_names.size(); }

// An answer that is not in four parts stands as a whole.
IdentityItem Scpi::identity_item(std::size_t item) const noexcept {
  const std::string_view whole{identity_}, name{identity_names[item]};
  constexpr auto parts = std::ssize(identity_names) - 1;
  const bool in_parts = std::ranges::count(whole, ',') == parts - 1;
  if (item == static_cast<std::size_t>(parts)) return {name, in_parts ? std::string_view{} : whole};
  if (!in_parts) return {name, {}};
  std::size_t from = 0;
  for (std::size_t i = 0; i < item; ++i) from = whole.find(',', from) + 1;
  return {name, whole.substr(from, whole.find(',', from) - from)};
}

void Scpi::take_read_back(ScpiTarget& target, double value, BenchTime now) {
  if (target.take_read_back(value)) return;
  ++counters_.refused;
  tell(scpi_read_back_differs);
  target.try_again(now + timeout_);
}

void Scpi::take_error(int code, BenchTime now) {
  if (out_of_step_) {
    // While it was silent the instrument may have been switched off and on again: look at everything anew.
    out_of_step_ = false;
    for (auto& t : targets_) t.doubt();
  }
  const bool of_cut_off = cut_off_sent_ && code <= -100 && code > -200;
  if (code == 0 || of_cut_off) cut_off_sent_ = false;
  if (of_cut_off) return;
  if (code == 0) {
    owes_errors_ = false;
    for (auto& t : targets_) t.clean = true;
    for (const auto& list : lists_)
      if (list) list->found(true);
    return;
  }
  ++counters_.refused;
  tell(static_cast<std::uint32_t>(code));
  owes_errors_ = ++errors_in_a_row_ < longest_error_queue;
  // Which command it was about is not said: every value that is not yet known to be right is sent again.
  for (auto& t : targets_)
    if (t.is_open()) t.try_again(now + timeout_);
  for (const auto& list : lists_)
    if (list) list->found(false);
}

void Scpi::no_answer() {
  ++counters_.timed_out;
  tell(scpi_no_answer);
  if (open_ == Question::read_back && !targets_[open_index_].unsent) targets_[open_index_].try_again(BenchTime{});
  if (open_ == Question::identity && identified_) asks_identity_ = false;  // nice to know, no more
  lines_.drop();
  open_ = Question::none;
  out_of_step_ = true;
  owes_errors_ = true;
}

std::uint32_t Scpi::take_message() noexcept {
  if (message_count_ == 0) return 0;
  const auto first = messages_.front();
  std::copy(messages_.begin() + 1, messages_.end(), messages_.begin());
  --message_count_;
  return first;
}

// When nobody takes them, the newest one stands for those that found no room.
void Scpi::tell(std::uint32_t message) {
  if (message_count_ < messages_.size()) ++message_count_;
  messages_[message_count_ - 1] = message;
}

void Scpi::save(std::span<std::uint32_t> words) const noexcept {
  if (!words.empty()) words[0] = identified_ ? 1 : 0;
}

void Scpi::load(std::span<const std::uint32_t> words) noexcept {
  if (!words.empty() && words[0] == 1) identified_ = true;
  asks_identity_ = !identified_;
  end_lists();
  cut_off_sent_ = true;
  open_ = Question::none;
  out_of_step_ = true;
  owes_errors_ = true;
}

}  // namespace trackrod
