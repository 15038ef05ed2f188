#pragma once
// The numerical work behind fit_lag: residuals, their slopes, and the way downhill.

#include <Eigen/Dense>
#include <vector>

#include "harness/score/lag_parameter.hpp"

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
  std::size_t count() const { return count_; }  // output samples
  double span() const { return span_; }         // of the measured output
  double motion() const { return motion_; }     // its standard deviation
  // What the fit makes least: the squares of the residuals, less what noise of the input that passes the model adds to
  // them. Without that a model that is too slow would look better than the true one, for it lets less noise through.
  double sum_of_squares() const { return sum_of_squares(model_); }

  // Sets gain and offset to what fits best for the model's dynamics without play and friction; returns the sum of
  // squares that is left.
  double solve_gain();
  // Levenberg and Marquardt over the free parameters (of LagParameter), with Marquardt's scaling by the diagonal.
  // Parameters at a bound that pull outwards rest there.
  void descend(const std::vector<int>& free, int most_turns);
  // What the last descent left undone: the step to where the slopes say that the sum of squares is least, by parameter,
  // and its length against what white noise leaves open (relative offset; Bates and Watts 1981, "A relative offset
  // orthogonality convergence criterion for nonlinear least squares", from memory). Noise that starts and stops the
  // motion, or moves the output in its gap, gives the sum kinks, and the least one may be at a kink: then the slopes
  // promise more than there is.
  const Eigen::VectorXd& undone() const { return undone_; }
  double relative_offset() const { return relative_offset_; }

  // Mean square of the residuals that the input's noise behind the lag and the rounding of the output explain.
  double explained() const;

  Eigen::VectorXd residual_of(const LagModel& model) const;
  LagMisfit misfit(const std::vector<int>& free) const;
  // Half the slope of what the input's noise adds to the squares of one stretch, by each free parameter.
  Eigen::VectorXd noise_pull(const Stretch& stretch, const std::vector<int>& free) const;

 private:
  double sum_of_squares(const LagModel& model) const;

  const std::vector<Stretch>& stretches_;
  LagModel model_;
  std::size_t count_{0};
  double motion_{0.0}, span_{0.0};
  Eigen::VectorXd undone_;
  double relative_offset_{0.0};
};

}  // namespace trackrod
