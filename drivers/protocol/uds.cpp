#include "drivers/protocol/uds.hpp"

#include <algorithm>
#include <bit>
#include <utility>

#include "drivers/protocol/uds_messages.hpp"
#include "harness/base/hex.hpp"

namespace trackrod {
namespace {

constexpr unsigned by_status_mask = 0x02;  // sub-function of reading the fault memory
// Of an inspection: every bit but those that say that a test has not run. Many units list each code that they know by
// those.
constexpr unsigned all_that_ran = 0xAF;
constexpr unsigned without_answer = 0x80;  // added to a sub-function: a positive answer is not sent
constexpr std::size_t longest_text = 96;   // characters kept of a text
constexpr int most_pending = 12;           // pending times after which a request is given up

unsigned byte_of(std::span<const std::byte> pdu, std::size_t at) { return std::to_integer<unsigned>(pdu[at]); }
unsigned word_of(std::span<const std::byte> pdu, std::size_t at) {
  return byte_of(pdu, at) << 8 | byte_of(pdu, at + 1);
}

}  // namespace

Uds::Uds(const UdsSettings& s)
    : tester_present_{s.tester_present}, timeout_{s.timeout}, pending_timeout_{s.pending_timeout} {
  Problems none;
  fields_ = check_uds(s, none);
  if (s.session) session_ = static_cast<unsigned>(*s.session);
  FieldIndex next = 0;
  if (s.faults) {
    reads_faults_ = true;
    counts_ = static_cast<std::uint8_t>(1U << s.faults->counts);
    faults_every_ = s.faults->every;
    ++next;
    for (const auto& [name, code] : s.faults->codes)
      codes_.push_back({next++, read_hex(code.value, 6).value_or(0), name.value});
    if (s.faults->clear) clear_field_ = next++;
  }
  for (const auto& [name, value] : s.values)
    values_.push_back({next++,
                       static_cast<std::uint16_t>(read_hex(value.id.value, 4).value_or(0)),
                       place_of(value),
                       value.is_signed,
                       value.scale.value,
                       value.offset,
                       value.every,
                       {},
                       false});
  whole_.reserve(FaultMemory::room);
  for (auto& [name, id] : uds_identity(s)) texts_.emplace_back(Text{name, "", id}).text.reserve(longest_text);
}

// ---- setting -----------------------------------------------------------------------------------

void Uds::set(FieldIndex field, double value) noexcept {
  if (field != clear_field_) return;
  const bool wanted = value >= 0.5;
  if (wanted && !clear_wanted_) {
    clear_owed_ = true;
    clear_not_before_ = BenchTime{};
  }
  if (!wanted) clear_owed_ = false;
  clear_wanted_ = wanted;
}

bool Uds::settled(FieldIndex field) const noexcept { return field == clear_field_ && !clear_owed_; }

void Uds::inspect() noexcept {
  for (auto& t : texts_) t.text.clear();
  next_text_ = 0;
  whole_.clear();
  whole_owed_ = true;
  whole_read_ = false;
}

std::optional<std::span<const FaultEntry>> Uds::faults() const noexcept {
  if (!whole_read_) return std::nullopt;
  return whole_;
}

// ---- asking ------------------------------------------------------------------------------------

std::span<const std::byte> Uds::due(BenchTime now) noexcept {
  if (open_ != Question::none) {
    if (now < std::min(deadline_, give_up_)) return {};
    no_answer(now);
  }
  if (session_ && !in_session_) {
    if (now < session_not_before_) return {};
    return ask(Question::session, 0, {uds_session, *session_}, now);
  }
  if (session_ && now >= present_next_) {
    present_next_ = now + tester_present_;
    return ask(Question::none, 0, {uds_tester_present, without_answer}, now);
  }
  if (clear_owed_ && now >= clear_not_before_) return ask(Question::clear, 0, {uds_clear, 0xFF, 0xFF, 0xFF}, now);
  return ask_next(now);
}

// What has waited longest; between two of them a text, as long as there are texts to be read.
std::span<const std::byte> Uds::ask_next(BenchTime now) {
  if (next_text_ < texts_.size() && last_ != Question::identity) {
    const unsigned id = texts_[next_text_].id;
    return ask(Question::identity, next_text_, {uds_read_identifier, id >> 8, id & 0xFF}, now);
  }
  if (whole_owed_ && last_ != Question::whole)
    return ask(Question::whole, 0, {uds_read_faults, by_status_mask, all_that_ran}, now);
  last_ = Question::none;
  if (!std::exchange(started_, true)) {
    faults_next_ = now;
    for (auto& v : values_) v.next = now;
  }
  Value* value = nullptr;
  for (auto& v : values_) {
    if (now >= v.next && (value == nullptr || v.next < value->next)) value = &v;
  }
  const bool faults_due = reads_faults_ && now >= faults_next_;
  if (faults_due && (value == nullptr || faults_next_ <= value->next)) {
    faults_next_ += faults_every_ * ((now - faults_next_) / faults_every_ + 1);
    if (!faults_asked_) faults_asked_ = now;
    return ask(Question::faults, 0, {uds_read_faults, by_status_mask, counts_}, now);
  }
  if (value == nullptr) return {};
  value->next += value->every * ((now - value->next) / value->every + 1);
  const unsigned id = value->id;
  return ask(Question::value, static_cast<std::size_t>(value - values_.data()),
             {uds_read_identifier, id >> 8, id & 0xFF}, now);
}

std::span<const std::byte> Uds::ask(Question question, std::size_t index, std::initializer_list<unsigned> bytes,
                                    BenchTime now) {
  open_ = last_ = question;
  open_index_ = index;
  asked_ = now;
  deadline_ = now + timeout_;
  give_up_ = now + most_pending * pending_timeout_;
  std::transform(bytes.begin(), bytes.end(), out_.begin(), [](unsigned b) { return static_cast<std::byte>(b); });
  return std::span{out_}.first(bytes.size());
}

// ---- answers -----------------------------------------------------------------------------------

bool Uds::on_bytes(std::span<const std::byte> pdu, Stamp stamp, FieldSink& sink) noexcept {
  const bool is_refusal = !pdu.empty() && byte_of(pdu, 0) == uds_negative;
  const bool good = is_refusal ? refused(pdu, stamp.when) : answered(pdu, stamp, sink);
  if (!good) {
    ++counters_.bad_length;  // says nothing that was asked
    return false;
  }
  ++counters_.good;
  silence_told_ = false;
  return true;
}

bool Uds::answered(std::span<const std::byte> pdu, Stamp stamp, FieldSink& sink) {
  if (pdu.empty()) return false;
  const auto is = [&](unsigned service) { return byte_of(pdu, 0) == service + uds_positive; };
  switch (open_) {
    case Question::none:
      return false;
    case Question::session:
      return is(uds_session) && take_session(pdu, stamp.when);
    case Question::clear:
      if (!is(uds_clear)) return false;
      clear_owed_ = false;
      memory_.cleared(asked_);
      faults_asked_.reset();
      faults_next_ = stamp.when;  // look at once what is left
      break;
    case Question::faults:
      return is(uds_read_faults) && take_faults(pdu, stamp, sink);
    case Question::value:
      return is(uds_read_identifier) && take_value(pdu, stamp, sink);
    case Question::identity:
      return is(uds_read_identifier) && take_text(pdu);
    case Question::whole:
      return is(uds_read_faults) && take_whole(pdu);
  }
  open_ = Question::none;
  return true;
}

// Behind the session its times: P2 in ms, P2* in 10 ms (ISO 14229-1, 9.2). Longer ones than ours are kept to.
bool Uds::take_session(std::span<const std::byte> pdu, BenchTime now) {
  if (pdu.size() < 2 || byte_of(pdu, 1) != *session_) return false;
  if (pdu.size() >= 6) {
    timeout_ = std::max(timeout_, Duration{std::chrono::milliseconds{word_of(pdu, 2)}});
    pending_timeout_ = std::max(pending_timeout_, Duration{std::chrono::milliseconds{10 * word_of(pdu, 4)}});
  }
  open_ = Question::none;
  in_session_ = true;
  present_next_ = now + tester_present_;
  return true;
}

bool Uds::take_faults(std::span<const std::byte> pdu, Stamp stamp, FieldSink& sink) {
  if (pdu.size() < 3 || pdu.size() % 4 != 3 || byte_of(pdu, 1) != by_status_mask) return false;
  open_ = Question::none;
  fault_refusal_told_ = false;
  const auto asked = std::exchange(faults_asked_, std::nullopt).value_or(asked_);
  const bool is_kept = (byte_of(pdu, 2) & counts_) != 0;  // the status availability mask
  if (!is_kept) {
    if (!std::exchange(bit_told_, true)) tell(uds_bit_not_supported);
    return true;
  }
  memory_.read(pdu.subspan(3), counts_, asked, stamp.when);
  for (const auto& f : memory_.fresh()) tell(std::uint32_t{f.status} << 24 | f.code, f.window);
  // The memory was looked at somewhere between question and answer.
  const Stamp seen{stamp.when, stamp.by, std::max(stamp.uncertainty, stamp.when - asked)};
  sink.field(0, static_cast<double>(memory_.count()), seen);
  for (const auto& c : codes_) sink.field(c.field, memory_.holds(c.code) ? 1.0 : 0.0, seen);
  return true;
}

bool Uds::take_value(std::span<const std::byte> pdu, Stamp stamp, FieldSink& sink) {
  auto& v = values_[open_index_];
  if (pdu.size() < 3 + v.place.end() || word_of(pdu, 1) != v.id) return false;
  open_ = Question::none;
  v.refusal_told = false;
  const auto data = pdu.subspan(3);
  const double count =
      v.is_signed ? static_cast<double>(v.place.read_signed(data)) : static_cast<double>(v.place.read(data));
  sink.field(v.field, v.scale * count + v.offset, stamp);
  return true;
}

bool Uds::take_whole(std::span<const std::byte> pdu) {
  if (pdu.size() < 3 || pdu.size() % 4 != 3 || byte_of(pdu, 1) != by_status_mask) return false;
  open_ = Question::none;
  whole_owed_ = false;
  whole_read_ = true;
  whole_.clear();
  for (std::size_t at = 3; at < pdu.size() && whole_.size() < FaultMemory::room; at += 4)
    whole_.push_back({byte_of(pdu, at) << 16 | word_of(pdu, at + 1), static_cast<std::uint8_t>(byte_of(pdu, at + 3))});
  return true;
}

bool Uds::take_text(std::span<const std::byte> pdu) {
  auto& t = texts_[open_index_];
  if (pdu.size() < 3 || word_of(pdu, 1) != t.id) return false;
  open_ = Question::none;
  ++next_text_;
  t.text.clear();
  const auto data = pdu.subspan(3);
  const auto is_printable = [](std::byte b) { return b >= std::byte{' '} && b <= std::byte{'~'}; };
  const auto padding = std::find_if(data.rbegin(), data.rend(), [](std::byte b) { return b != std::byte{0}; }).base();
  const bool is_text = std::all_of(data.begin(), padding, is_printable);
  for (auto b = data.begin(); b != (is_text ? padding : data.end()) && t.text.size() + 2 <= longest_text; ++b) {
    constexpr auto hex = "0123456789ABCDEF";
    const auto n = std::to_integer<unsigned>(*b);
    if (!is_text) t.text += hex[n >> 4];
    t.text += is_text ? static_cast<char>(n) : hex[n & 15];
  }
  return true;
}

// 7F, service, code (ISO 14229-1, annex A).
bool Uds::refused(std::span<const std::byte> pdu, BenchTime now) {
  constexpr std::array services{0U,
                                unsigned{uds_session},
                                unsigned{uds_clear},
                                unsigned{uds_read_faults},
                                unsigned{uds_read_identifier},
                                unsigned{uds_read_identifier},
                                unsigned{uds_read_faults}};
  if (pdu.size() != 3) return false;
  const auto service = byte_of(pdu, 1), code = byte_of(pdu, 2);
  const bool of_present = service == uds_tester_present;
  if (!of_present && (open_ == Question::none || service != services[static_cast<std::size_t>(open_)])) return false;
  if (code == uds_pending) {
    deadline_ = now + pending_timeout_;
    return true;
  }
  ++counters_.refused;
  const auto question = of_present ? Question::none : std::exchange(open_, Question::none);
  if (session_ && (code == uds_service_not_in_session || code == uds_sub_function_not_in_session || of_present)) {
    in_session_ = false;  // it started anew, or dropped the session
    session_not_before_ = now;
  }
  bool is_news = code != uds_busy;
  switch (question) {
    case Question::none:
      break;
    case Question::session:
      session_not_before_ = now + timeout_;
      break;
    case Question::clear:
      is_news = is_news && clear_not_before_ == BenchTime{};
      clear_not_before_ = now + timeout_;
      break;
    case Question::faults:
      faults_asked_.reset();  // it was not looked at
      is_news = is_news && !std::exchange(fault_refusal_told_, true);
      break;
    case Question::value:
      is_news = is_news && !std::exchange(values_[open_index_].refusal_told, true);
      break;
    case Question::identity:
      is_news = false;  // not every unit offers every text
      if (code != uds_busy) ++next_text_;
      break;
    case Question::whole:
      whole_owed_ = code == uds_busy;
      break;
  }
  if (is_news) tell(uds_refused + (service << 8) + code);
  return true;
}

void Uds::no_answer(BenchTime now) {
  ++counters_.timed_out;
  if (!std::exchange(silence_told_, true)) tell(uds_no_answer);
  const auto question = std::exchange(open_, Question::none);
  if (question == Question::identity) ++next_text_;
  if (question == Question::session) session_not_before_ = now + timeout_;
}

// ---- messages and texts ------------------------------------------------------------------------

std::uint32_t Uds::take_message() noexcept {
  if (message_count_ == 0) return 0;
  const auto& first = messages_[first_message_];
  first_message_ = (first_message_ + 1) % messages_.size();
  --message_count_;
  taken_window_ = first.window;
  return first.message;
}

// When nobody takes them, the newest one stands for those that found no room.
void Uds::tell(std::uint32_t message, Window window) {
  if (message_count_ < messages_.size()) ++message_count_;
  messages_[(first_message_ + message_count_ - 1) % messages_.size()] = {message, window};
}

std::string Uds::describe_message(std::uint32_t message) const {
  if (message == uds_no_answer) return "a diagnostic request was not answered in time";
  if (message == uds_bit_not_supported)
    return "the unit does not keep the status bit '" +
           std::string{uds_status_bits[static_cast<std::size_t>(std::countr_zero(counts_))]} +
           "': its fault memory cannot be judged by it";
  if (message >> 24 == 0)
    return uds_service_name(message >> 8 & 0xFF) + " refused: " + uds_refusal_name(message & 0xFF);
  const auto code = message & 0xFFFFFFU;
  std::string name;
  for (const auto& c : codes_)
    if (c.code == code) name = " '" + c.name + "'";
  return "fault " + uds_code_text(code) + name + ": " + uds_status_words(message >> 24);
}

}  // namespace trackrod
