#include "harness/score/correlate.hpp"

#include <Eigen/Dense>
#include <cmath>

namespace trackrod {

std::optional<CorrelationLag> correlation_lag(const std::vector<double>& x, const std::vector<double>& y, int lead,
                                              int least, int most) {
  using Row = Eigen::Map<const Eigen::ArrayXd>;
  const auto n = static_cast<Eigen::Index>(y.size());
  if (n < 8 || most - least < 2 || lead < most || static_cast<Eigen::Index>(x.size()) < lead + n - least)
    return std::nullopt;
  const Eigen::ArrayXd centred = Row(y.data(), n) - Row(y.data(), n).mean();
  const double y_norm = std::sqrt(centred.square().sum());
  std::vector<double> coefficient;
  for (int k = least; k <= most; ++k) {
    const Row shifted(x.data() + (lead - k), n);
    const double norm = std::sqrt((shifted - shifted.mean()).square().sum());
    if (!(norm > 0.0) || !(y_norm > 0.0)) return std::nullopt;
    coefficient.push_back((centred * shifted).sum() / (norm * y_norm));
  }
  std::size_t peak = 0;
  for (std::size_t i = 0; i < coefficient.size(); ++i)
    if (std::abs(coefficient[i]) > std::abs(coefficient[peak])) peak = i;
  if (peak == 0 || peak + 1 == coefficient.size()) return std::nullopt;
  const double before = std::abs(coefficient[peak - 1]), at = std::abs(coefficient[peak]),
               after = std::abs(coefficient[peak + 1]);
  const double bend = before - 2.0 * at + after;
  const double part = bend < 0.0 ? 0.5 * (before - after) / bend : 0.0;
  return CorrelationLag{least + static_cast<double>(peak) + part, coefficient[peak]};
}

std::vector<double> central_difference(const std::vector<double>& y, std::size_t half) {
  std::vector<double> out;
  for (std::size_t i = half; i + half < y.size(); ++i)
    out.push_back((y[i + half] - y[i - half]) / (2.0 * static_cast<double>(half)));
  return out;
}

}  // namespace trackrod
