#include "harness/score/correlate.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

namespace trackrod {

namespace {

// The polynomial of fourth degree (second, through three points) through values[begin, end) by least squares; where it
// is highest, and how its slope there depends on the values.
struct Top {
  double place{0.0};                 // index, with a fraction
  std::vector<double> slope_weight;  // slope at `place` = sum(weight * value)
  double bend{0.0};                  // second derivative there
};
Top top_of(const std::vector<double>& values, std::size_t begin, std::size_t end) {
  const auto count = static_cast<Eigen::Index>(end - begin);
  const Eigen::Index terms = std::min<Eigen::Index>(5, count);
  const double middle = 0.5 * static_cast<double>(begin + end - 1), reach = 0.5 * static_cast<double>(count - 1);
  Eigen::MatrixXd powers(count, terms);
  for (Eigen::Index i = 0; i < count; ++i)
    for (Eigen::Index k = 0; k < terms; ++k)
      powers(i, k) =
          std::pow((static_cast<double>(begin) + static_cast<double>(i) - middle) / reach, static_cast<double>(k));
  const Eigen::MatrixXd solve = powers.completeOrthogonalDecomposition().pseudoInverse();
  const Eigen::VectorXd c = solve * Eigen::Map<const Eigen::VectorXd>(values.data() + begin, count);
  const auto height = [&](double s) {
    double sum = 0.0;
    for (Eigen::Index k = terms; k-- > 0;) sum = sum * s + c[k];
    return sum;
  };
  double low = -1.0, high = 1.0;  // one hump: shrink about it
  for (int turn = 0; turn < 100; ++turn) {
    const double third = (high - low) / 3.0;
    if (height(low + third) < height(high - third))
      low += third;
    else
      high -= third;
  }
  // The shrinking stops where rounding makes heights alike; Newton's steps on the slope finish it.
  double s = 0.5 * (low + high), bend = 0.0;
  for (int turn = 0; turn < 3; ++turn) {
    double slope = 0.0;
    bend = 0.0;
    for (Eigen::Index k = terms; k-- > 1;) {
      const double order = static_cast<double>(k);
      slope += order * c[k] * std::pow(s, order - 1.0);
      if (k > 1) bend += order * (order - 1.0) * c[k] * std::pow(s, order - 2.0);
    }
    if (bend < 0.0) s = std::clamp(s - slope / bend, -1.0, 1.0);
  }
  Top top;
  top.place = middle + s * reach;
  top.bend = bend / (reach * reach);
  Eigen::RowVectorXd slope = Eigen::RowVectorXd::Zero(count);
  for (Eigen::Index k = 1; k < terms; ++k)
    slope += static_cast<double>(k) * std::pow(s, static_cast<double>(k - 1)) / reach * solve.row(k);
  top.slope_weight.assign(slope.data(), slope.data() + count);
  return top;
}

// The run [first, second) of values about the peak that are at least `share` of it.
std::pair<std::size_t, std::size_t> around(const std::vector<double>& values, std::size_t peak, double share) {
  std::size_t begin = peak, end = peak + 1;
  while (begin > 0 && values[begin - 1] >= share * values[peak]) --begin;
  while (end < values.size() && values[end] >= share * values[peak]) ++end;
  return {begin, end};
}

double sum_of_squares(const std::vector<double>& v) {
  double sum = 0.0;
  for (const double x : v) sum += x * x;
  return sum;
}

}  // namespace

std::optional<CorrelationCurve> correlation_curve(const std::vector<double>& x, const std::vector<double>& y, int lead,
                                                  int least, int most) {
  using Row = Eigen::Map<const Eigen::ArrayXd>;
  const auto n = static_cast<Eigen::Index>(y.size());
  if (n < 8 || most - least < 2 || lead < most || static_cast<Eigen::Index>(x.size()) < lead + n - least)
    return std::nullopt;
  const Eigen::ArrayXd centred = Row(y.data(), n) - Row(y.data(), n).mean();
  const double y_norm = std::sqrt(centred.square().sum());
  CorrelationCurve curve;
  curve.least = least;
  for (int k = least; k <= most; ++k) {
    const Row shifted(x.data() + (lead - k), n);
    const double norm = y_norm * std::sqrt((shifted - shifted.mean()).square().sum());
    if (!(norm > 0.0)) return std::nullopt;
    curve.coefficient.push_back((centred * shifted).sum() / norm);
    curve.norm.push_back(norm);
  }
  return curve;
}

std::optional<CorrelationLag> lag_of(const CorrelationCurve& curve, double flank) {
  std::vector<double> size;
  for (const double c : curve.coefficient) size.push_back(std::abs(c));
  const auto peak = static_cast<std::size_t>(std::max_element(size.begin(), size.end()) - size.begin());
  if (peak == 0 || peak + 1 >= size.size()) return std::nullopt;
  auto [begin, end] = around(size, peak, flank);
  if (flank >= 1.0 || end - begin < 5) begin = peak - 1, end = peak + 2;
  const auto top = top_of(size, begin, end);
  CorrelationLag lag;
  lag.samples = curve.least + top.place;
  lag.coefficient = curve.coefficient[peak];
  lag.first = curve.least + static_cast<int>(begin);
  lag.weight = top.slope_weight;
  lag.fall = top.bend * curve.norm[peak];
  return lag;
}

double lag_noise(const CorrelationLag& lag, const std::vector<double>& x, const std::vector<double>& y, int lead,
                 double x_noise, double y_noise, std::size_t half) {
  // The sum over lags of weight * product is one product sum of y with a smoothed slope of x, and of x with one of y.
  std::vector<double> x_slope(y.size(), 0.0), y_slope(y.size() + lag.weight.size(), 0.0);
  for (std::size_t k = 0; k < lag.weight.size(); ++k) {
    const auto shift = static_cast<std::size_t>(lead - lag.first - static_cast<int>(k));
    const std::size_t back = lag.weight.size() - 1 - k;
    for (std::size_t n = 0; n < y.size(); ++n) {
      x_slope[n] += lag.weight[k] * x[n + shift];
      y_slope[n + back] += lag.weight[k] * y[n];
    }
  }
  if (half > 0) {
    x_slope = central_difference(x_slope, half);
    y_slope = central_difference(y_slope, half);
  }
  const double variance = y_noise * y_noise * sum_of_squares(x_slope) + x_noise * x_noise * sum_of_squares(y_slope);
  return std::sqrt(variance) / std::abs(lag.fall);
}

std::vector<double> central_difference(const std::vector<double>& y, std::size_t half) {
  std::vector<double> out;
  for (std::size_t i = half; i + half < y.size(); ++i)
    out.push_back((y[i + half] - y[i - half]) / (2.0 * static_cast<double>(half)));
  return out;
}

}  // namespace trackrod
