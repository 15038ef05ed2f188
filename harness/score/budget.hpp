#pragma once
// Uncertainty: from the lines of a budget to a standard uncertainty and an interval (JCGM 100:2008; where rectangles
// weigh much, Monte Carlo after JCGM 101:2008).

#include <Eigen/Dense>
#include <array>
#include <string>
#include <vector>

#include "harness/score/score.hpp"

namespace trackrod {

// A half-width within which a value surely lies: standard uncertainty half_width / sqrt 3.
Contribution rectangular(const std::string& name, double half_width, const std::string& group = "");
Contribution type_a(const std::string& name, double standard_uncertainty, double degrees_of_freedom);
Contribution type_b(const std::string& name, double standard_uncertainty, const std::string& group = "");

struct Combined {
  double standard_uncertainty{0.0};
  double degrees_of_freedom{0.0};  // effective, not yet truncated
  double coverage_factor{0.0};
  std::array<double, 2> interval{};
};

// Root sum of squares; lines of one group are added first, with their signs. Effective degrees of freedom after
// Welch and Satterthwaite (JCGM 100, G.4.1), truncated downwards for Student's t. The Monte Carlo is seeded: same
// budget, same interval.
Combined combine(double value, const std::vector<Contribution>& budget, double coverage = 0.95);

// Factor of Student's t for a two-sided interval; infinite degrees of freedom give the normal factor.
double coverage_factor(double degrees_of_freedom, double coverage);

// Standard uncertainty of f(x) with gradient `sensitivity` for correlated x (JCGM 100, 5.2.2).
double propagated(const Eigen::VectorXd& sensitivity, const Eigen::MatrixXd& covariance);

// The same quantity found in several cycles, each with the standard uncertainty that the noise of its samples explains.
struct Repeated {
  double mean{0.0}, least{0.0}, greatest{0.0};
  std::size_t count{0};
  double scatter{0.0};               // standard deviation of the values beyond their noise; 0 for one value
  std::vector<Contribution> budget;  // "noise", and "repeatability": what the cycles scatter beyond the noise
};
Repeated repeated(const std::vector<double>& values, const std::vector<double>& noise);

}  // namespace trackrod
