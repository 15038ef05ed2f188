#include "drivers/protocol/modbus.hpp"

#include <algorithm>
#include <cmath>

namespace trackrod {
namespace {

constexpr std::array<std::string_view, 3> identity_names{"vendor", "product", "revision"};  // section 6.21
constexpr std::size_t longest_text = 255;  // of one of them: its length is a byte

std::array<std::uint16_t, 2> words_in(const ModbusPlace& place, std::span<const std::byte> pdu) {
  if (place.is_bit()) return {static_cast<std::uint16_t>(byte_at(pdu, 2) & 1), 0};
  std::array<std::uint16_t, 2> words{};
  for (std::size_t i = 0; i < place.count(); ++i) words[i] = static_cast<std::uint16_t>(word_at(pdu, 2 + 2 * i));
  return words;
}

}  // namespace

Modbus::Modbus(const ModbusSettings& s)
    : transport_{s.transport},
      unit_{static_cast<unsigned>(s.unit.value)},
      timeout_{s.timeout},
      gap_{s.gap},
      asks_identity_{s.identify},
      receiver_{s.transport, unit_, ModbusSide::answer, s.gap} {
  Problems none;
  fields_ = check_modbus(s, none);
  for (const auto& [name, setting] : s.settings) settings_.emplace_back().how = setting;
  for (const auto& [name, reading] : s.readings) readings_.emplace_back().how = reading;
  for (auto& text : identity_) text.reserve(longest_text);
}

void Modbus::set(FieldIndex field, double value) noexcept {
  if (field >= settings_.size()) return;
  auto& s = settings_[field];
  if (!std::isfinite(value)) {
    ++counters_.clamped;
    return;
  }
  const auto [words, clamped] = s.how.words_of(value);
  if (s.has_value && words == s.words) return;
  if (clamped) ++counters_.clamped;
  s.words = words;
  s.wanted = s.how.value_of(words);
  s.has_value = s.unsent = true;
  s.owes_read_back = s.written = s.agreed = false;
  s.not_before = BenchTime{};
}

bool Modbus::settled(FieldIndex field) const noexcept {
  if (field >= settings_.size()) return false;
  const auto& s = settings_[field];
  return s.has_value && !s.unsent && s.written && (s.agreed || !s.how.read_back);
}

// ---- asking ------------------------------------------------------------------------------------

std::span<const std::byte> Modbus::due(BenchTime now) noexcept {
  if (open_ != Question::none) {
    if (now - asked_ < timeout_) return {};
    no_answer(now);
  }
  if (waits_for_silence_) {
    waits_for_silence_ = false;
    line_free_ = now + gap_;
  }
  if (now < line_free_) return {};
  if (last_ != Question::write)
    if (const auto out = write_next(now); !out.empty()) return out;
  if (now >= reads_not_before_)
    if (const auto out = read_next(now); !out.empty()) return out;
  return last_ == Question::write ? write_next(now) : std::span<const std::byte>{};
}

std::span<const std::byte> Modbus::write_next(BenchTime now) {
  for (std::size_t i = 0; i < settings_.size(); ++i) {
    const auto place = (next_write_ + i) % settings_.size();
    auto& s = settings_[place];
    const bool again = s.written && s.how.every && now >= s.again;
    if (!(s.unsent && now >= s.not_before) && !again) continue;
    next_write_ = place + 1;
    make_write(request_, s.how.table.value, static_cast<unsigned>(s.how.address.value),
               std::span{s.words}.first(s.how.count()), s.how.multiple);
    if (s.how.every) s.again = now + *s.how.every;
    s.unsent = false;
    return ask(Question::write, place, now);
  }
  return {};
}

// Starved readings, then what is to be read back, then who the device is, then readings.
std::span<const std::byte> Modbus::read_next(BenchTime now) {
  if (const auto starved = reading_next(now, true); !starved.empty()) return starved;
  for (std::size_t i = 0; i < settings_.size(); ++i) {
    const auto place = (next_read_back_ + i) % settings_.size();
    const auto& s = settings_[place];
    if (!s.owes_read_back || now < s.not_before) continue;
    next_read_back_ = place + 1;
    make_read(request_, s.how.table.value, static_cast<unsigned>(s.how.address.value), s.how.count());
    return ask(Question::read_back, place, now);
  }
  if (asks_identity_) {
    make_identification(request_, next_object_);
    return ask(Question::identity, 0, now);
  }
  return reading_next(now, false);
}

// The reading that has waited longest. Starved: others kept it from its turn for a whole cycle.
std::span<const std::byte> Modbus::reading_next(BenchTime now, bool only_starved) {
  Reading* next = nullptr;
  for (auto& r : readings_) {
    if (!r.started) {
      r.started = true;
      r.next = now;
    }
    const auto from = only_starved ? r.next + r.how.every : r.next;
    if (now >= from && (next == nullptr || r.next < next->next)) next = &r;
  }
  if (next == nullptr || (only_starved && last_ == Question::reading)) return {};
  next->next += next->how.every * ((now - next->next) / next->how.every + 1);
  const auto& how = next->how;
  make_read(request_, how.table.value, static_cast<unsigned>(how.address.value), how.count());
  return ask(Question::reading, static_cast<std::size_t>(next - readings_.data()), now);
}

std::span<const std::byte> Modbus::ask(Question question, std::size_t index, BenchTime now) {
  open_ = last_ = question;
  open_index_ = index;
  asked_ = now;
  ++transaction_;
  return carry_modbus(transport_, unit_, {transaction_, request_.bytes()}, out_);
}

// ---- answers -----------------------------------------------------------------------------------

bool Modbus::on_bytes(std::span<const std::byte> bytes, Stamp stamp, FieldSink& sink) noexcept {
  const auto good = counters_.good;
  while (!bytes.empty()) {
    bytes = receiver_.take(bytes, stamp);
    while (const auto message = receiver_.next()) {
      const bool is_ours =
          open_ != Question::none && (transport_ == ModbusTransport::rtu || message->transaction == transaction_);
      const auto verdict = is_ours ? judge_answer(request_.bytes(), message->pdu) : ModbusAnswer::not_to_this;
      if (verdict == ModbusAnswer::not_to_this) {
        ++counters_.repeated;  // answers something that is not asked any more
        continue;
      }
      ++counters_.good;
      silence_told_ = false;
      if (transport_ == ModbusTransport::rtu) line_free_ = stamp.when + gap_;
      if (verdict == ModbusAnswer::refused)
        refused(byte_at(message->pdu, 1), stamp.when);
      else
        answered(message->pdu, stamp, sink);
    }
  }
  counters_.bad_checksum = receiver_.bad_checksums();
  counters_.bad_length = receiver_.bad_lengths();
  return counters_.good > good;
}

void Modbus::answered(std::span<const std::byte> pdu, Stamp stamp, FieldSink& sink) {
  switch (std::exchange(open_, Question::none)) {
    case Question::none:
      return;
    case Question::write: {
      auto& s = settings_[open_index_];
      if (s.unsent) return;  // another value is wanted by now
      s.owes_read_back = s.how.read_back && !(s.written && s.agreed);
      s.written = true;
      return;
    }
    case Question::read_back: {
      auto& s = settings_[open_index_];
      return take_read_back(s, s.how.value_of(words_in(s.how, pdu)), stamp.when);
    }
    case Question::reading: {
      const auto& how = readings_[open_index_].how;
      readings_[open_index_].refusal_told = false;
      return sink.field(static_cast<FieldIndex>(settings_.size() + open_index_), how.value_of(words_in(how, pdu)),
                        stamp);
    }
    case Question::identity:
      return take_identity(pdu);
  }
}

void Modbus::take_read_back(Setting& s, double value, BenchTime now) {
  if (s.unsent) return;
  s.owes_read_back = false;
  s.agreed = s.how.tolerance ? std::abs(value - s.wanted) <= *s.how.tolerance * (1.0 + 1e-9) : value == s.wanted;
  if (s.agreed) return;
  ++counters_.refused;
  tell(modbus_read_back_differs);
  s.unsent = true;
  s.written = false;
  s.not_before = now + timeout_;
}

void Modbus::refused(unsigned code, BenchTime now) {
  ++counters_.refused;
  const auto question = std::exchange(open_, Question::none);
  // A reading that is refused in every cycle is told once.
  if (question != Question::reading || !std::exchange(readings_[open_index_].refusal_told, true))
    tell(request_.function() << 8 | code);
  if (question == Question::identity) asks_identity_ = false;  // it has none, or not that function
  if (question != Question::write && question != Question::read_back) return;
  auto& s = settings_[open_index_];
  if (s.unsent) return;
  s.not_before = now + timeout_;
  if (question == Question::write) {
    s.unsent = true;
    s.written = s.agreed = false;
  }
}

// Objects 0, 1 and 2 of section 6.21, perhaps in several answers.
void Modbus::take_identity(std::span<const std::byte> pdu) {
  const bool more = byte_at(pdu, 4) == 0xFF && byte_at(pdu, 5) > next_object_;
  next_object_ = byte_at(pdu, 5);
  asks_identity_ = more;
  std::size_t at = 7;
  for (unsigned left = byte_at(pdu, 6); left > 0; --left) {
    const auto object = byte_at(pdu, at), length = byte_at(pdu, at + 1);
    const auto text = pdu.subspan(at + 2, length);
    at += 2 + length;
    if (object >= identity_.size()) continue;
    identity_[object].clear();
    for (const auto b : text) {
      const auto c = std::to_integer<char>(b);
      identity_[object] += c >= ' ' && c <= '~' ? c : '?';
    }
  }
}

void Modbus::no_answer(BenchTime now) {
  ++counters_.timed_out;
  if (!std::exchange(silence_told_, true)) tell(modbus_no_answer);
  if (open_ == Question::write) {
    settings_[open_index_].unsent = true;
    settings_[open_index_].written = false;
  }
  if (open_ == Question::identity) asks_identity_ = false;
  open_ = Question::none;
  // While it was silent the device may have been switched off and on again: look at everything anew.
  for (auto& s : settings_)
    if (s.written && s.how.read_back) {
      s.owes_read_back = true;
      s.agreed = false;
    }
  if (transport_ == ModbusTransport::rtu) reads_not_before_ = now + timeout_;
}

// ---- the rest ----------------------------------------------------------------------------------

std::uint32_t Modbus::take_message() noexcept {
  if (message_count_ == 0) return 0;
  const auto first = messages_.front();
  std::copy(messages_.begin() + 1, messages_.end(), messages_.begin());
  --message_count_;
  return first;
}

// When nobody takes them, the newest one stands for those that found no room.
void Modbus::tell(std::uint32_t message) {
  if (message_count_ < messages_.size()) ++message_count_;
  messages_[message_count_ - 1] = message;
}

std::string Modbus::describe_message(std::uint32_t message) const {
  if (message == modbus_no_answer) return "a request was not answered in time";
  if (message == modbus_read_back_differs) return "another value was read back than was written";
  return "refused to " + modbus_function_name(message >> 8) + ": " + modbus_exception_name(message & 0xFF);
}

IdentityItem Modbus::identity_item(std::size_t item) const noexcept { return {identity_names[item], identity_[item]}; }

void Modbus::save(std::span<std::uint32_t> words) const noexcept {
  if (!words.empty()) words[0] = transaction_;
}

void Modbus::load(std::span<const std::uint32_t> words) noexcept {
  constexpr unsigned far = 0x4000;  // answers to the other process shall not look like ours
  if (!words.empty()) transaction_ = static_cast<std::uint16_t>(words[0] + far);
  open_ = Question::none;
  receiver_.drop();
  waits_for_silence_ = transport_ == ModbusTransport::rtu;
}

}  // namespace trackrod
