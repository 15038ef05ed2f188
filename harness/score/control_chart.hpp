#pragma once
// Control charts for a series of values in the order they came, and the limits that give a stated run length.
// For values that do not depend on each other; take the memory out first (trend.hpp).

#include <cstddef>
#include <vector>

namespace trackrod {

// Exponentially weighted moving average: z[i] = share x[i] + (1 - share) z[i - 1], from `start` (NIST/SEMATECH
// e-Handbook, 6.3.2.4).
std::vector<double> ewma(const std::vector<double>& x, double start, double share);

// Tabular cumulative sums (NIST/SEMATECH e-Handbook, 6.3.2.3): high[i] = max(0, high[i - 1] + x[i] - target - slack),
// low[i] likewise downward; both in the unit of x and never negative.
struct Cusum {
  std::vector<double> high, low;
};
Cusum cusum(const std::vector<double>& x, double target, double slack);

// Each value from index `first` (2 or more) on, held against all that came before it: what Student's distribution says
// of it, as a standard normal value (Hawkins, The Statistician 36, 1987). So mean and deviation that come from few
// values bring no more false alarms than the limits below say.
std::vector<double> against_all_before(const std::vector<double>& x, std::size_t first);

// Mean number of values until the first alarm, nothing having changed, for normal values of standard deviation 1.
//   EWMA with limits at +- width times the standard deviation of z in the long run: Markov chain over its range.
//   CUSUM of both sides with limit `limit`: Markov chain after Brook and Evans (Biometrika 59, 1972).
double ewma_run_length(double width, double share);
double cusum_run_length(double limit, double slack);
// The limits whose mean run length is `run_length` (10 to 1e5).
double ewma_width_for(double run_length, double share);
double cusum_limit_for(double run_length, double slack);

}  // namespace trackrod
