#include "harness/score/control_chart.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <boost/math/distributions/normal.hpp>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>

namespace trackrod {
namespace {

double below(double x) { return 0.5 * std::erfc(-x / std::sqrt(2.0)); }  // the normal distribution

// Mean number of steps from state `start` until the chain is left; `stay`: probabilities between its states.
double steps_until_left(const Eigen::MatrixXd& stay, Eigen::Index start) {
  const Eigen::MatrixXd left = Eigen::MatrixXd::Identity(stay.rows(), stay.cols()) - stay;
  return left.partialPivLu().solve(Eigen::VectorXd::Ones(stay.rows()))[start];
}

// Where a run length that grows with its limit reaches `wanted`: its logarithm is nearly straight, so the false
// position of that converges in a few steps.
template <class RunLength>
double limit_for(const RunLength& run_length, double wanted, double low, double high) {
  const auto beyond = [&](double limit) { return std::log(run_length(limit) / wanted); };
  double at_low = beyond(low), at_high = beyond(high), middle = low;
  for (int i = 0; i < 40; ++i) {
    middle = low + (high - low) * at_low / (at_low - at_high);
    const double here = beyond(middle);
    if (std::abs(here) < 1e-6) break;
    // Halving what stays keeps one end from standing still.
    if (here < 0.0)
      low = middle, at_low = here, at_high *= 0.5;
    else
      high = middle, at_high = here, at_low *= 0.5;
  }
  return middle;
}

}  // namespace

std::vector<double> ewma(const std::vector<double>& x, double start, double share) {
  std::vector<double> z;
  double last = start;
  for (const double v : x) z.push_back(last = share * v + (1.0 - share) * last);
  return z;
}

Cusum cusum(const std::vector<double>& x, double target, double slack) {
  Cusum sums;
  double high = 0.0, low = 0.0;
  for (const double v : x) {
    sums.high.push_back(high = std::max(0.0, high + (v - target) - slack));
    sums.low.push_back(low = std::max(0.0, low - (v - target) - slack));
  }
  return sums;
}

std::vector<double> against_all_before(const std::vector<double>& x, std::size_t first) {
  std::vector<double> scores;
  double mean = 0.0, squares = 0.0;  // of the values before, by Welford's recurrence
  for (std::size_t i = 0; i < x.size(); ++i) {
    const double n = static_cast<double>(i);
    if (i >= first) {
      const double deviation = std::sqrt(squares / (n - 1.0));
      const double t = std::sqrt(n / (n + 1.0)) * (x[i] - mean) / deviation;
      const double p = boost::math::cdf(boost::math::students_t{n - 1.0}, t);
      scores.push_back(boost::math::quantile(boost::math::normal{}, std::clamp(p, 1e-15, 1.0 - 1e-15)));
    }
    const double away = x[i] - mean;
    mean += away / (n + 1.0);
    squares += away * (x[i] - mean);
  }
  return scores;
}

double ewma_run_length(double width, double share) {
  constexpr Eigen::Index states = 121;  // odd, so that one has its middle at the start
  const double end = width * std::sqrt(share / (2.0 - share)), step = 2.0 * end / static_cast<double>(states);
  Eigen::MatrixXd stay{states, states};
  for (Eigen::Index i = 0; i < states; ++i) {
    const double from = -end + (static_cast<double>(i) + 0.5) * step;
    const auto reached = [&](Eigen::Index edge) {
      return below((-end + static_cast<double>(edge) * step - (1.0 - share) * from) / share);
    };
    double last = reached(0);
    for (Eigen::Index j = 0; j < states; ++j) {
      const double next = reached(j + 1);
      stay(i, j) = next - last;
      last = next;
    }
  }
  return steps_until_left(stay, states / 2);
}

double cusum_run_length(double limit, double slack) {
  constexpr Eigen::Index states = 60;
  const double step = 2.0 * limit / (2.0 * static_cast<double>(states) - 1.0);
  Eigen::MatrixXd stay{states, states};
  for (Eigen::Index i = 0; i < states; ++i)
    for (Eigen::Index j = 0; j < states; ++j) {
      const double way = static_cast<double>(j - i) * step + slack;
      stay(i, j) = below(way + 0.5 * step) - (j > 0 ? below(way - 0.5 * step) : 0.0);
    }
  return 0.5 * steps_until_left(stay, 0);  // either side alarms alike
}

double ewma_width_for(double run_length, double share) {
  return limit_for([&](double width) { return ewma_run_length(width, share); }, run_length, 0.5, 6.0);
}

double cusum_limit_for(double run_length, double slack) {
  return limit_for([&](double limit) { return cusum_run_length(limit, slack); }, run_length, 0.2, 12.0 / slack);
}

}  // namespace trackrod
