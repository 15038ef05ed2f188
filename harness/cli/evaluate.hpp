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

// By criterion: what a score that takes its steps cycle by cycle had of them while the run went on.
using CycleBook = std::vector<std::vector<CycleValue>>;

// Holds what a score found against the criterion's limits. A limit whose finding is not there makes one that says
// `why`.
void judge_all(std::vector<Finding>& findings, const Criterion& criterion, const std::string& why);

// Pure, apart from reading the capture. A criterion that cannot be worked out gives findings that say why. `invalid`:
// why the run says nothing of the unit; no verdict stands then. `book`: empty, or by criterion.
Evaluation evaluate(const Plan& plan, const CaptureView& capture, const std::vector<std::string>& invalid,
                    const CycleBook& book = {});

}  // namespace trackrod
