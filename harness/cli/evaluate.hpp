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

// Pure, apart from reading the capture. A criterion that cannot be worked out gives findings that say why.
Evaluation evaluate(const Plan& plan, const CaptureView& capture);

}  // namespace trackrod
