#include "harness/score/lag_model.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <unsupported/Eigen/MatrixFunctions>

namespace trackrod {
namespace {

// Slope of the input over its first 20 ms, by its ends' means, so that noise hardly counts.
double first_slope(const Stretch& s) {
  const auto n = std::min(s.input.size() / 2, static_cast<std::size_t>(0.01 / s.dt) + 1);
  if (n == 0) return 0.0;
  double early = 0.0, late = 0.0;
  for (std::size_t i = 0; i < n; ++i) early += s.input[i], late += s.input[i + n];
  const double count = static_cast<double>(n);
  return (late - early) / count / (count * s.dt);
}

Response first_order(const Stretch& s, const LagModel& model) {
  const double tau = 1.0 / model.natural, e = std::exp(-s.dt / tau), share = (1.0 - e) * tau / s.dt;
  Response out;
  out.value.resize(s.input.size());
  out.rate.resize(s.input.size());
  double v = s.input.front() - tau * first_slope(s);
  for (std::size_t i = 0; i < s.input.size(); ++i) {
    if (i > 0) v = e * v + (share - e) * s.input[i - 1] + (1.0 - share) * s.input[i];
    out.value[i] = v;
    out.rate[i] = (s.input[i] - v) / tau;
  }
  return out;
}

Response second_order(const Stretch& s, const LagModel& model) {
  const double wn = model.natural, zeta = model.damping;
  Eigen::Matrix4d system = Eigen::Matrix4d::Zero();  // value, rate, input, slope of the input
  system(0, 1) = 1.0;
  system(1, 0) = -wn * wn;
  system(1, 1) = -2.0 * zeta * wn;
  system(1, 2) = wn * wn;
  system(2, 3) = 1.0;
  const Eigen::Matrix4d step = (system * s.dt).exp();
  Response out;
  out.value.resize(s.input.size());
  out.rate.resize(s.input.size());
  double rate = first_slope(s), value = s.input.front() - 2.0 * zeta / wn * rate;
  for (std::size_t i = 0; i < s.input.size(); ++i) {
    if (i > 0) {
      const double u = s.input[i - 1], slope = (s.input[i] - u) / s.dt;
      const double next = step(0, 0) * value + step(0, 1) * rate + step(0, 2) * u + step(0, 3) * slope;
      rate = step(1, 0) * value + step(1, 1) * rate + step(1, 2) * u + step(1, 3) * slope;
      value = next;
    }
    out.value[i] = value;
    out.rate[i] = rate;
  }
  return out;
}

// Cubic through values and rates at both ends of the grid cell.
double interpolated(const Response& r, double position, double dt) {
  const double last = static_cast<double>(r.value.size() - 1);
  position = std::clamp(position, 0.0, last);
  const auto i = std::min(static_cast<std::size_t>(position), r.value.size() - 2);
  const double x = position - static_cast<double>(i), y = 1.0 - x;
  return y * y * ((1.0 + 2.0 * x) * r.value[i] + x * dt * r.rate[i]) +
         x * x * ((1.0 + 2.0 * y) * r.value[i + 1] - y * dt * r.rate[i + 1]);
}

}  // namespace

Response lag_response(const Stretch& stretch, const LagModel& model) {
  return model.order == LagOrder::first ? first_order(stretch, model) : second_order(stretch, model);
}

std::vector<double> model_output(const Stretch& stretch, const LagModel& model, const Response& response) {
  std::vector<double> out(stretch.t.size());
  const double half = 0.5 * std::abs(model.play);
  const std::size_t few = std::min<std::size_t>(5, stretch.output.size());
  double at = 0.0;
  for (std::size_t i = 0; i < few; ++i) at += stretch.output[i] / static_cast<double>(few);
  for (std::size_t i = 0; i < out.size(); ++i) {
    const double position = (stretch.t[i] - model.dead_time - stretch.start) / stretch.dt;
    const double w = model.gain * interpolated(response, position, stretch.dt) + model.offset;
    at = std::clamp(at, w - half, w + half);
    out[i] = at;
  }
  return out;
}

}  // namespace trackrod
