#include "drivers/protocol/scpi_peer.hpp"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <limits>
#include <utility>

namespace trackrod {
namespace {

constexpr std::size_t room_for_answers = 4096;
constexpr int reading_digits = 6;

// SCPI-1999, list of errors and events: the standard's own numbers and texts.
struct ErrorText {
  int code;
  const char* text;
};
constexpr ErrorText error_texts[] = {
    {0, "No error"},          {-104, "Data type error"},     {-109, "Missing parameter"}, {-113, "Undefined header"},
    {-350, "Queue overflow"}, {-363, "Input buffer overrun"}};

bool starts_with(std::string_view line, std::string_view text) {
  return line.size() >= text.size() && same_text(line.substr(0, text.size()), text);
}

}  // namespace

ScpiPeer::ScpiPeer(const ScpiSettings& s) : error_query_{s.error_query.value}, line_end_{s.line_end} {
  Problems none;
  fields_ = check_scpi(s, none);
  for (auto& f : fields_) std::swap(f.readable, f.drivable);
  for (const auto& [name, setting] : s.settings) {
    const auto& text = setting.write.value;
    const auto gap = text.find("{}");
    settings_.push_back({text.substr(0, gap), text.substr(gap + 2), setting.read_back ? setting.read_back->value : "",
                         setting.digits, 0.0});
  }
  for (const auto& [name, reading] : s.readings)
    readings_.push_back({reading.query.value, std::numeric_limits<double>::quiet_NaN()});
  // Four fields, as IEEE 488.2 asks: maker, model, serial number, firmware.
  identity_ = s.identify ? s.identify->value : "simulated";
  if (identity_.find(',') == std::string::npos) identity_ += ",simulated,0,0";
  answers_.reserve(room_for_answers);
  out_.reserve(room_for_answers);
}

bool ScpiPeer::on_bytes(std::span<const std::byte> bytes, Stamp stamp, FieldSink& sink) noexcept {
  bool good = false;
  while (!bytes.empty()) {
    bool too_long = false;
    const auto line = lines_.next(bytes, too_long);
    if (too_long) push_error(-363);
    if (!line) break;
    const int error = obey(*line, stamp, sink);
    if (error == 0) {
      ++counters_.good;
      good = true;
    } else {
      push_error(error);
    }
  }
  return good;
}

int ScpiPeer::obey(std::string_view line, Stamp stamp, FieldSink& sink) {
  if (same_text(line, "*CLS")) {
    error_count_ = 0;
    return 0;
  }
  // An answer that nobody fetches must not grow without end.
  if (line.back() == '?' && answers_.size() + LineReader::longest + line_end_.size() > room_for_answers) return -363;
  if (answer(line)) {
    answers_ += line_end_;
    return 0;
  }
  return take_setting(line, stamp, sink);
}

bool ScpiPeer::answer(std::string_view query) {
  if (same_text(query, "*IDN?")) {
    answers_ += identity_;
    return true;
  }
  if (same_text(query, "*OPC?")) {
    answers_ += '1';
    return true;
  }
  if (same_text(query, error_query_)) {
    answer_error();
    return true;
  }
  for (const auto& s : settings_)
    if (!s.read_back.empty() && same_text(query, s.read_back)) {
      append_number(answers_, s.value, s.digits);
      return true;
    }
  for (const auto& r : readings_)
    if (same_text(query, r.query)) {
      if (std::isfinite(r.value)) {
        append_number(answers_, r.value, reading_digits);
      } else {
        answers_ += "9.91E37";
      }
      return true;
    }
  return false;
}

int ScpiPeer::take_setting(std::string_view line, Stamp stamp, FieldSink& sink) {
  for (std::size_t i = 0; i < settings_.size(); ++i) {
    auto& s = settings_[i];
    const auto header = std::string_view{s.before}.substr(0, s.before.find_last_not_of(' ') + 1);
    if (same_text(line, header)) return -109;
    if (!starts_with(line, s.before) || line.size() < s.before.size() + s.after.size()) continue;
    const auto end = line.size() - s.after.size();
    if (!same_text(line.substr(end), s.after)) continue;
    const auto number = read_number(line.substr(s.before.size(), end - s.before.size()));
    if (!number || !std::isfinite(*number)) return -104;
    s.value = *number;
    sink.field(static_cast<FieldIndex>(i), *number, stamp);
    return 0;
  }
  return -113;
}

void ScpiPeer::set(FieldIndex field, double value) noexcept {
  if (field < settings_.size() || field >= settings_.size() + readings_.size()) return;
  readings_[field - settings_.size()].value = value;
}

std::span<const std::byte> ScpiPeer::due(BenchTime) noexcept {
  out_.clear();
  std::swap(out_, answers_);
  return std::as_bytes(std::span{std::as_const(out_)});
}

// SCPI-1999: when the queue is full, the last entry is replaced by "Queue overflow".
void ScpiPeer::push_error(int code) {
  ++counters_.bad_length;
  if (error_count_ == errors_.size()) {
    errors_.back() = -350;
  } else {
    errors_[error_count_++] = code;
  }
}

void ScpiPeer::answer_error() {
  int code = 0;
  if (error_count_ > 0) {
    code = errors_.front();
    std::copy(errors_.begin() + 1, errors_.end(), errors_.begin());
    --error_count_;
  }
  const auto* known =
      std::find_if(std::begin(error_texts), std::end(error_texts), [&](const ErrorText& e) { return e.code == code; });
  char digits[8];
  answers_.append(digits, std::to_chars(digits, digits + sizeof digits, code).ptr);
  answers_ += ",\"";
  answers_ += known->text;
  answers_ += '"';
}

}  // namespace trackrod
