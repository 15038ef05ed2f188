#pragma once
// Applies a plan's criteria to a capture.

#include "harness/capture/view.hpp"
#include "harness/plan/plan.hpp"
#include "harness/score/score.hpp"

namespace trackrod {

// What one criterion came to.
struct Scored {
  std::size_t findings{0}, figures{0};  // how many of them are its own
  std::size_t repetitions{0};           // how often each of its steps was run whole
};

struct Evaluation {
  std::vector<Finding> findings;  // in the order of the plan's criteria
  std::vector<Figure> figures;    // likewise
  std::vector<Scored> scored;     // by criterion
};

// Pure, apart from reading the capture. A criterion that cannot be worked out gives findings that say why. `invalid`:
// why the run says nothing of the unit; no verdict stands then.
Evaluation evaluate(const Plan& plan, const CaptureView& capture, const std::vector<std::string>& invalid);

}  // namespace trackrod
