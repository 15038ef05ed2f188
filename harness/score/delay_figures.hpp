#pragma once
// Pictures of the score `delay`.

#include <string>
#include <vector>

#include "harness/score/delay_data.hpp"
#include "harness/score/lag_fit.hpp"
#include "harness/score/score.hpp"

namespace trackrod {

// Output against the input through the fitted gain and against the model, one passage of it closely with the times in
// `findings` marked where there are any, and what is left; of the fit's first span.
std::vector<Figure> delay_figures(const std::string& step, const SignalInfo& input, const SignalInfo& output,
                                  const DelaySpan& span, const Stretch& stretch, const LagFit& fit,
                                  const std::vector<Finding>& findings);

}  // namespace trackrod
