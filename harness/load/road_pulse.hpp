#pragma once
// Pulses that the road sends to the rack: a pothole, the edge of a slab. Any number of the same time up to `capacity`;
// their forces add up. One thread; nothing is allocated, blocks or throws.

#include <array>
#include <cstddef>

namespace trackrod {

struct RoadPulse {
  double force{0.0};   // N at the rack at its greatest, positive to the left
  double wait{0.0};    // s from now until the wheel is there
  double length{0.0};  // m of road that it takes: how long it lasts is the speed's business
};

class RoadPulses {
 public:
  static constexpr std::size_t capacity = 8;

  // False when `capacity` pulses are under way, or a value is not finite, `wait` is below 0 or `length` not above 0:
  // nothing was added.
  bool add(const RoadPulse& pulse) noexcept;
  // N at the rack after `step` s in which the vehicle rolled `rolled` m, either way. A pulse is a whole period of a
  // cosine over its length, from nothing through its force to nothing; a vehicle that stops on it stays on it.
  double advance(double step, double rolled) noexcept;

 private:
  struct UnderWay {
    RoadPulse pulse;
    double way{0.0};  // m, of its length; the place is free where that is through
  };
  std::array<UnderWay, capacity> places_{};
};

}  // namespace trackrod
