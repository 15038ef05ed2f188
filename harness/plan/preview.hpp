#pragma once
// What a timeline will ask of a bench, worked out before anything moves. Pure.

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "harness/plan/timeline.hpp"
#include "harness/plan/trip_travel.hpp"

namespace trackrod {

// How near the plan comes to one limit of the bench, in the unit of that limit.
struct LimitUse {
  std::string limit;  // "upper end of the range", "lower end of the range", "max_slew", "max_jerk"
  std::string unit;
  double asked{0}, allowed{0};
  double margin{0};  // what is left
  bool near{false};  // within 10 % of the limit
};

// A driven value over the drawn time, for plotting: in each of equal slices its least and greatest value.
struct PreviewCurve {
  std::vector<double> time;  // s, middle of the slice
  std::vector<double> low, high;
};

struct PreviewSignal {
  SignalIndex signal{no_signal};
  Extent extent;  // over the plan; infinite rate, acceleration or jerk: there is a jump
  std::vector<LimitUse> limits;
  std::optional<TripTravel> trip;  // of a position axis
  PreviewCurve curve;
};

// One stretch of the drawn time. Of a repeat the first pass is drawn and, when there are more, one later pass.
struct PreviewStretch {
  std::string step;
  double from{0}, to{0};   // s on the drawn time
  std::uint64_t times{1};  // how often the run goes through it just so; without_end: until the repeat is ended
  bool wait{false};        // drawn with its longest time
};

struct Preview {
  Duration length{}, settle{};  // waits with their longest time, a repeat without end with one pass
  bool endless{false};
  std::uint64_t steps{0};  // repetitions counted
  double drawn_seconds{0};
  std::vector<PreviewStretch> stretches;
  std::vector<PreviewSignal> signals;  // those that the plan moves
  std::vector<std::string> notes;      // what a person should know before starting, in sentences
};

struct PreviewOptions {
  std::size_t slices{1000};  // of each curve, at most
};

Preview preview(const Timeline& timeline, const Bench& bench, const PreviewOptions& options = {});

}  // namespace trackrod
