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

// One grid cell further for v and its rate, the input going straight from `u` to `next`.
class Cell {
 public:
  Cell(const LagModel& model, double dt)
      : first_order_{model.order == LagOrder::first}, natural_{model.natural}, dt_{dt} {
    Eigen::Matrix4d system = Eigen::Matrix4d::Zero();  // value, rate, input, slope of the input
    if (first_order_) {
      system(0, 0) = -model.natural;
      system(0, 2) = model.natural;
    } else {
      system(0, 1) = 1.0;
      system(1, 0) = -model.natural * model.natural;
      system(1, 1) = -2.0 * model.damping * model.natural;
      system(1, 2) = model.natural * model.natural;
    }
    system(2, 3) = 1.0;
    step_ = (system * dt).exp();
  }
  void advance(double& value, double& rate, double u, double next) const {
    const double slope = (next - u) / dt_;
    const double v = step_(0, 0) * value + step_(0, 1) * rate + step_(0, 2) * u + step_(0, 3) * slope;
    rate = first_order_ ? natural_ * (next - v)
                        : step_(1, 0) * value + step_(1, 1) * rate + step_(1, 2) * u + step_(1, 3) * slope;
    value = v;
  }
  // As above with friction. A rate of 0 means standstill.
  void advance_with_friction(double& value, double& rate, double u, double next, double friction) const {
    if (rate == 0.0) {
      const double pull = next - value;
      if (std::abs(pull) <= friction) return;
      const double held = std::copysign(friction, pull);
      const double begin = std::abs(u - value) > friction && (u - value) * pull > 0.0 ? u - held : value;
      return advance(value, rate, begin, next - held);
    }
    const double held = std::copysign(friction, rate), value_before = value, rate_before = rate;
    advance(value, rate, u - held, next - held);
    if (rate * rate_before >= 0.0) return;
    // It came to a stop within the cell.
    value = value_before + 0.5 * rate_before * dt_ * rate_before / (rate_before - rate);
    rate = 0.0;
  }

 private:
  bool first_order_;
  double natural_, dt_;
  Eigen::Matrix4d step_;
};

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
  const auto& input = stretch.input;
  const Cell cell{model, stretch.dt};
  Response out;
  out.value.reserve(input.size());
  out.rate.reserve(input.size());
  double rate = first_slope(stretch), value = input.front() - model.slowness() * rate;
  if (model.friction > 0.0) {
    if (std::abs(rate) * 0.02 < 0.5 * model.friction) {
      // At rest: as near to the input as the measured output and the play allow, and within reach of the friction.
      rate = 0.0;
      const double measured = (stretch.start_output - model.offset) / model.gain;
      const double half = 0.5 * model.play / std::abs(model.gain);
      value = std::clamp(input.front(), measured - half, measured + half);
      value = std::clamp(value, input.front() - model.friction, input.front() + model.friction);
    } else {
      value -= std::copysign(model.friction, rate);
    }
  }
  for (std::size_t i = 0; i < input.size(); ++i) {
    if (i > 0 && model.friction > 0.0)
      cell.advance_with_friction(value, rate, input[i - 1], input[i], model.friction);
    else if (i > 0)
      cell.advance(value, rate, input[i - 1], input[i]);
    out.value.push_back(value);
    out.rate.push_back(rate);
  }
  return out;
}

std::vector<double> model_output(const Stretch& stretch, const LagModel& model, const Response& response) {
  std::vector<double> out(stretch.t.size());
  const double half = 0.5 * std::abs(model.play);
  double at = stretch.start_output;
  const auto through = [&](double w) { return std::clamp(at, w - half, w + half); };
  for (std::size_t i = 0; i < response.value.size(); ++i) {  // the past that is not compared
    if (out.empty() || stretch.start + stretch.dt * static_cast<double>(i) + model.dead_time >= stretch.t.front())
      break;
    at = through(model.gain * response.value[i] + model.offset);
  }
  for (std::size_t i = 0; i < out.size(); ++i) {
    const double position = (stretch.t[i] - model.dead_time - stretch.start) / stretch.dt;
    at = through(model.gain * interpolated(response, position, stretch.dt) + model.offset);
    out[i] = at;
  }
  return out;
}

}  // namespace trackrod
