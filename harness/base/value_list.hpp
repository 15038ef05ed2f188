#pragma once
// A course of a driven value that a device can run by itself, with its own timing, once it is told to start.

#include <chrono>
#include <cstddef>

#include "harness/base/time.hpp"

namespace trackrod {

struct ListPoint {
  double value{0.0};
  Duration dwell{};
};

// What lists a device takes.
struct ListAbility {
  std::size_t points{0};  // at most
  Duration shortest{std::chrono::milliseconds{1}},
      longest{std::chrono::seconds{10}};  // dwell of a point; whole multiples of `shortest`
};

}  // namespace trackrod
