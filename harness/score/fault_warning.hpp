#pragma once
// What a unit shows of a fault: the right warning, a wrong one, none, or one without a fault.

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "harness/score/fault_onsets.hpp"

namespace trackrod {

enum class Shown : std::uint8_t { none, right, wrong };

// A warning or flag, sample by sample, in s after the span's start.
struct ShownTrack {
  std::vector<double> t;
  std::vector<Shown> shown;
  double stamp_half_width{0.0};
};
// Samples without a value show nothing either way and are left out.
ShownTrack read_shown(const ScoreInput& input, const std::string& role, const Span& span,
                      const std::function<Shown(double)>& what);

struct FaultWarning {
  // `unclear`: one was already shown when the fault began.
  enum class Outcome : std::uint8_t { right, wrong, missing, unclear } outcome{Outcome::missing};
  std::optional<Between> at;   // the first right one, or the first wrong one; between two samples: polls, frames
  std::optional<Between> off;  // after the fault was cleared, for good
  bool lapsed{false};          // it went off for good while the fault was there
  bool stayed{false};          // it was still shown at the end, the fault long cleared
  bool false_before{false};    // it came on between `since` and the onset
};
// Looks from `since`, where no fault was there, over the fault and on to `until`, where the next one begins.
FaultWarning warning_of(const ShownTrack& track, const FaultStretch& fault, double since, double until);

// How often one came on, of a track without any fault; one that is shown from the start counts.
std::size_t times_shown(const ShownTrack& track);

}  // namespace trackrod
