#pragma once
// Least-squares fit of the lag model to stretches of measurement, and what the fit is worth.

#include <Eigen/Dense>
#include <vector>

#include "harness/score/lag_parameter.hpp"

namespace trackrod {

struct LagFit {
  LagModel model;
  bool converged{false};
  // By LagParameter: the step that the slopes still promised where nothing led further down; 0 where the end was found.
  Eigen::VectorXd undone;
  double residual{0.0};   // root mean square, unit of the output
  double motion{0.0};     // standard deviation of the measured output
  double whiteness{0.0};  // correlation of neighbouring residuals; near 0 when the model leaves nothing but noise
  double misfit{0.0};     // root mean square of what of the residuals is neither noise nor rounding; 0: nothing shows
  // Ratio of the largest to the least eigenvalue of the information matrix, each parameter but play and friction scaled
  // to 1 on the diagonal: how nearly the motion lets parameters stand in for each other.
  double condition{0.0};
  std::vector<bool> fitted;                        // by LagParameter
  std::vector<std::vector<double>> fitted_output;  // by stretch

  // Covariance of the parameters (0 where not fitted) from the residuals: they count by how much they can move the
  // parameters, and by how long they resemble each other, so what the model cannot follow widens it too.
  Eigen::MatrixXd covariance;
  double degrees_of_freedom{0.0};
  // Other models that nearly as well explain the output, with their weight against this one (1 = as good): play and
  // friction can pass for each other, and the dead time shifts with them.
  struct Rival {
    LagModel model;
    double weight{0.0};
  };
  std::vector<Rival> rivals;
  // By how much the noise of the input would have shifted each parameter, had it not been reckoned with.
  Eigen::VectorXd noise_shift;
  // What one unit of error in each output sample does to each parameter: rows as the stretches' outputs, one after
  // another.
  Eigen::MatrixXd influence;
  // By how much each stretch by itself pulls the parameters: columns sum to nearly 0.
  std::vector<Eigen::VectorXd> pull;
};

// `lost_motion`: play and friction are fitted too. `lag_guess` (s) is about dead time plus slowness. Friction whose
// reach is below `least_friction` (unit of the input; some times its noise) is not told from noise and left out.
// Deterministic.
LagFit fit_lag(const std::vector<Stretch>& stretches, LagOrder order, bool lost_motion, double lag_guess,
               double least_friction);

// Shift of the parameters, to first order, when the stretches' inputs are replaced by these.
Eigen::VectorXd shift_by_input(const LagFit& fit, const std::vector<Stretch>& stretches,
                               const std::vector<std::vector<double>>& inputs);

}  // namespace trackrod
