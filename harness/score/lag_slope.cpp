#include "harness/score/lag_slope.hpp"

#include <algorithm>
#include <cmath>

namespace trackrod {
namespace {

using P = LagParameter;

// Of ln(natural) and ln(damping), of the gain and of spans: small against what the data can tell, large against
// rounding.
constexpr double small_share = 1e-4;

bool shapes_response(int which, const LagResponse& response) {
  if (which == P::gain || which == P::offset || which == P::play) return response.begun_by_output;
  return which == P::shape || which == P::damping || which == P::friction;
}

double small_change(const Stretch& stretch, const LagModel& model, int which) {
  if (which == P::shape || which == P::damping) return small_share;
  if (which == P::gain) return small_share * std::abs(model.gain);
  const auto [low, high] = std::minmax_element(stretch.input.begin(), stretch.input.end());
  const double by = small_share * std::max(*high - *low, 1e-300);
  return which == P::friction ? by : by * std::abs(model.gain);
}

// Slope of the response by a parameter that shapes it.
LagResponse slope_of_response(const Stretch& stretch, const LagModel& model, const LagResponse& response, int which) {
  const double by = small_change(stretch, model, which);
  auto slope = lag_response(stretch, moved(model, which, by));
  for (std::size_t i = 0; i < slope.value.size(); ++i) {
    slope.value[i] = (slope.value[i] - response.value[i]) / by;
    slope.rate[i] = (slope.rate[i] - response.rate[i]) / by;
  }
  return slope;
}

}  // namespace

SlopedOutput sloped_output(const Stretch& stretch, const LagModel& model, const std::vector<int>& free) {
  const auto response = lag_response(stretch, model);
  const auto output = model_output(stretch, model, response);
  const auto columns = static_cast<Eigen::Index>(free.size());
  std::vector<LagResponse> shaped(free.size());
  for (std::size_t j = 0; j < free.size(); ++j)
    if (shapes_response(free[j], response)) shaped[j] = slope_of_response(stretch, model, response, free[j]);

  SlopedOutput out{output.value, Eigen::MatrixXd(static_cast<Eigen::Index>(stretch.t.size()), columns)};
  // Within the gap the output stays where it was last pushed; before that, where it was measured.
  for (std::size_t i = 0; i < stretch.t.size(); ++i) {
    auto row = out.slope.row(static_cast<Eigen::Index>(i));
    row.setZero();
    if (output.side[i] == 0) continue;
    const double position = output.pushed_at[i];
    for (std::size_t j = 0; j < free.size(); ++j) {
      auto& slope = row[static_cast<Eigen::Index>(j)];
      slope = shaped[j].value.empty() ? 0.0 : model.gain * shaped[j].value_at(position, stretch.dt);
      if (free[j] == P::dead_time) slope = -model.gain * response.rate_at(position);
      if (free[j] == P::gain) slope += response.value_at(position, stretch.dt);
      if (free[j] == P::offset) slope += 1.0;
      if (free[j] == P::play) slope -= 0.5 * output.side[i];
    }
  }
  return out;
}

}  // namespace trackrod
