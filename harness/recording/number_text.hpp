#pragma once
// Numbers and times as other programs write them.

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "harness/base/error.hpp"

namespace trackrod {

struct NumberText {
  double value{0.0};
  int places{0};  // decimal places as written, "0.250" has 3, "1.5e-3" has 4, "2e3" has -3: how finely it was rounded
};
// A decimal number with or without sign, fraction and exponent; `decimal` is '.' or ','. Spaces around it do not count.
// Empty for all else, and for what is too great to be held: no "inf", no "nan", no hexadecimals, no thousands.
std::optional<NumberText> read_number(std::string_view text, char decimal);

struct TimeText {
  std::int64_t ns{0};
  std::int64_t step_ns{1};  // of its last digit as written; 1 where that is finer
};
// A number of units of `unit_ns` nanoseconds each, exact to the nanosecond however great it is. Empty: no number, or
// beyond 146 years.
std::optional<TimeText> read_elapsed(std::string_view text, char decimal, std::int64_t unit_ns);

struct DateText : TimeText {  // ns since 1970-01-01 UTC, without leap seconds
  bool has_offset{false};     // else it was taken as UTC
};
// Date and time of day after ISO 8601: "2026-11-25T14:03:12,5+01:00". Extended or basic form; 'T' or a space between; a
// fraction of the second with ',' or '.'; "Z", "+01", "+01:00", "+0100" or nothing behind. Years 1825 to 2115. Empty
// for all else.
std::optional<DateText> read_date_time(std::string_view text);

}  // namespace trackrod
