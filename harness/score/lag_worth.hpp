#pragma once
// What a fit of the lag model is worth.

#include "harness/score/lag_fit.hpp"
#include "harness/score/lag_fitter.hpp"

namespace trackrod {

// Of the fitter's present model, when these parameters were free. Rivals are left to the caller.
LagFit worth_of(const LagFitter& fitter, const std::vector<Stretch>& stretches, const std::vector<int>& free);

}  // namespace trackrod
