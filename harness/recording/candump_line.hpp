#pragma once
// Lines of the text in which candump of can-utils logs a CAN bus, in its log format
//   (1436509052.249713) can0 044#2A366C2BBA      (1436509053.249713) can0 1F334455##1112233
// and in the one for people
//    (1436509052.249713)  can0  044   [5]  2A 36 6C 2B BA      (2026-11-26 14:03:12.249713)  can0 ...

#include <array>
#include <optional>
#include <string>
#include <string_view>

#include "harness/base/can_frame.hpp"

namespace trackrod {

struct CandumpLine {
  std::int64_t ns{0};       // the stamp as it stands: a time or a difference
  std::int64_t step_ns{1};  // of its last digit
  bool dated{false};        // since 1970-01-01 UTC: a date, or a number of seconds so great that it can be nothing else
  bool has_offset{true};    // false: a date in an unknown time zone
  std::string interface;
  CanFrame frame;  // its data are in `data`
  std::array<std::byte, 64> data{};
};

// Fills `out`, or says in words what is wrong with the line; empty: it was read.
std::string read_candump_line(std::string_view text, CandumpLine& out);

}  // namespace trackrod
