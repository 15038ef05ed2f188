#pragma once
// A straight line through values that remember those before them, such as one finding over the cycles of a night.

#include <array>
#include <vector>

namespace trackrod {

struct TrendFit {
  double slope{0.0};                 // per unit of x
  double change{0.0};                // of the line, from the first x to the last
  double standard_uncertainty{0.0};  // of the change
  std::array<double, 2> interval{};  // of the change, 95 %
  double degrees_of_freedom{0.0};    // values less what was fitted
  double memory{0.0};                // correlation of neighbours one unit of x apart, mean over what the values allow
  double at_first{0.0};              // of the line
  double per_covariate{0.0};         // of the second cause; 0: none was given
  double deviation{0.0};             // standard deviation of a value about the line, in the long run
};

// y = a + slope x (+ b covariate) + e, where e is normal, stays the same in the long run, and has the correlation
// memory^d between values d apart (first-order autoregression). The memory is not known: the interval is that of the
// mixture of Student's distributions over all memories from -0.6 to 0.99, each weighted by its restricted likelihood
// (Harville, J. Amer. Statist. Assoc. 72, 1977) with an even prior. Plain least squares would state too narrow an
// interval where neighbours resemble each other. `x` increasing; five values more than what is fitted, at least.
// `covariate`: empty or as long as x.
TrendFit fit_trend(const std::vector<double>& x, const std::vector<double>& y,
                   const std::vector<double>& covariate = {});

// What is new in each value of a series with this memory: (e[i] - r e[i - 1]) / sqrt(1 - r^2), r = memory^(x[i] - x[i -
// 1]); the first one as it is. `e`: departures from the mean.
std::vector<double> without_memory(const std::vector<double>& x, const std::vector<double>& e, double memory);

}  // namespace trackrod
