#pragma once
// The numerical work behind fit_lag: residuals, their slopes, and the way downhill.

#include <vector>

#include "harness/score/lag_fit.hpp"

namespace trackrod {

struct LagMisfit {
  Eigen::VectorXd residual;  // measured less modelled, all stretches
  Eigen::MatrixXd slope;     // of the modelled output by each free parameter
};

class LagFitter {
 public:
  // Keeps a reference to the stretches.
  LagFitter(const std::vector<Stretch>& stretches, const LagModel& from);

  const LagModel& model() const { return model_; }
  LagModel& model() { return model_; }
  double span() const { return span_; }  // of the measured output
  double sum_of_squares() const { return residual_of(model_).squaredNorm(); }

  // Sets gain and offset to what fits best for the model's dynamics without play and friction; returns the sum of
  // squares that is left.
  double solve_gain();
  // Levenberg and Marquardt over the free parameters (of LagParameter), with Marquardt's scaling by the diagonal.
  void descend(const std::vector<int>& free, int most_turns);
  // What the present model is worth when these parameters were free.
  LagFit result(const std::vector<int>& free) const;

  Eigen::VectorXd residual_of(const LagModel& model) const;
  LagMisfit misfit(const std::vector<int>& free) const;

 private:
  double step_of(int which) const;

  const std::vector<Stretch>& stretches_;
  LagModel model_;
  std::size_t count_{0};
  double motion_{0.0}, span_{0.0};
  bool converged_{false};
};

}  // namespace trackrod
