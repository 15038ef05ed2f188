#pragma once
// Straight lines through points: least squares with weights, and the line of least greatest departure.

#include <vector>

namespace trackrod {

struct LineFit {
  double intercept{0.0}, slope{0.0};
  double residual_deviation{0.0};               // sqrt(sum of weighted squares / (n - 2)); 0 for two points
  double intercept_unit{0.0}, slope_unit{0.0};  // standard uncertainties for weights 1/u^2 with true u
  double chi_square{0.0};                       // sum of ((y - line) / u)^2
  // intercept = sum(intercept_share[i] * y[i]), slope likewise: how each point enters.
  std::vector<double> intercept_share, slope_share;
};
// `u`: standard uncertainty of each y, all positive. Needs two points or more with different x.
LineFit fit_line(const std::vector<double>& x, const std::vector<double>& y, const std::vector<double>& u);

// Probability of a chi square this large or larger, when the line and the uncertainties are right.
double chance_of(double chi_square, double degrees_of_freedom);

// Half the width of the narrowest band between two parallel lines that holds all points: independent linearity.
double independent_linearity(const std::vector<double>& x, const std::vector<double>& y);

}  // namespace trackrod
