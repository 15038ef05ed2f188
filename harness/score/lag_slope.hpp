#pragma once
// How the output of the lag model moves with its parameters.

#include <Eigen/Dense>
#include <vector>

#include "harness/score/lag_parameter.hpp"

namespace trackrod {

// The model's output and its slope by each of the parameters `free` (of LagParameter): one row an output sample. Exact
// for dead time, gain, offset and play, also through the gap; shape, damping and friction by a small difference of the
// response.
struct SlopedOutput {
  std::vector<double> value;
  Eigen::MatrixXd slope;
};
SlopedOutput sloped_output(const Stretch& stretch, const LagModel& model, const std::vector<int>& free);

}  // namespace trackrod
