#pragma once
// What a fit of the lag model is worth.

#include <Eigen/Dense>

#include "harness/score/lag_fit.hpp"
#include "harness/score/lag_fitter.hpp"

namespace trackrod {

// Of the fitter's present model, when these parameters were free. Rivals are left to the caller.
LagFit worth_of(const LagFitter& fitter, const std::vector<Stretch>& stretches, const std::vector<int>& free);

// Mean square of what of the residuals is neither noise nor rounding, as far as it shows: their likeness over a few
// samples, less `explained`, what the input's noise has in common there. 0 when that may be chance.
double structured_square(const Eigen::VectorXd& residual, double explained);

}  // namespace trackrod
