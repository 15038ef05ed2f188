#pragma once
// Applies a plan's criteria to a capture.

#include "harness/capture/view.hpp"
#include "harness/plan/plan.hpp"
#include "harness/score/score.hpp"

namespace trackrod {

struct Evaluation {
  std::vector<Finding> findings;  // in the order of the plan's criteria
  std::vector<Figure> figures;
};

// Pure, apart from reading the capture. A criterion that cannot be worked out gives findings that say why. `invalid`:
// why the run says nothing of the unit; no verdict stands then.
Evaluation evaluate(const Plan& plan, const CaptureView& capture, const std::vector<std::string>& invalid);

}  // namespace trackrod
