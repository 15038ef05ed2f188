#include "harness/score/lag_model.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
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

// v and its rate over the grid, one cell at a time, the input going straight from `u` to `next`.
class Lag {
 public:
  Lag(const LagModel& model, double dt)
      : first_order_{model.order == LagOrder::first},
        natural_{model.natural},
        damping_{model.damping},
        friction_{model.friction},
        dt_{dt} {
    Eigen::Matrix4d system = Eigen::Matrix4d::Zero();  // value, rate, input, slope of the input
    if (first_order_) {
      system(0, 0) = -natural_;
      system(0, 2) = natural_;
    } else {
      system(0, 1) = 1.0;
      system(1, 0) = -natural_ * natural_;
      system(1, 1) = -2.0 * damping_ * natural_;
      system(1, 2) = natural_ * natural_;
    }
    system(2, 3) = 1.0;
    const Eigen::Matrix4d step = (system * dt).exp();
    const auto after = [&](int row) {
      const double by_slope = step(row, 3) / dt;
      return Row{step(row, 0), step(row, 1), step(row, 2) - by_slope, by_slope, step(row, 2)};
    };
    value_ = after(0);
    rate_ = first_order_ ? Row{-natural_ * value_.value, 0.0, -natural_ * value_.u, natural_ * (1.0 - value_.next),
                               natural_ * (1.0 - value_.held)}
                         : after(1);
  }

  // `held`: what friction takes off the input.
  void advance(double& value, double& rate, double u, double next, double held = 0.0) const {
    const double v = value_.after(value, rate, u, next, held);
    rate = rate_.after(value, rate, u, next, held);
    value = v;
  }

  // As above with friction. A rate of 0 means standstill.
  void advance_with_friction(double& value, double& rate, double u, double next) const {
    if (rate != 0.0) {
      const double held = std::copysign(friction_, rate), value_before = value, rate_before = rate;
      advance(value, rate, u, next, held);
      if (rate * rate_before > 0.0) return;
      value = value_before, rate = rate_before;
    } else if (std::abs(u - value) <= friction_ && std::abs(next - value) <= friction_) {
      return;
    }
    start_and_stop(value, rate, u, next);
  }

 private:
  // How much each counts one cell later. Written so that little waits for the cell before.
  struct Row {
    double value, rate, u, next, held;
    double after(double v, double r, double from, double to, double h) const {
      return (u * from + next * to) + (value * v + rate * r) - held * h;
    }
  };
  // Value and its derivatives at one instant, as a series over time.
  struct Series {
    static constexpr int terms = 8;
    std::array<double, terms> c;  // of t^k
    double value(double t) const { return sum(t, 0); }
    double rate(double t) const { return sum(t, 1); }
    double acceleration(double t) const { return sum(t, 2); }

   private:
    double sum(double t, int derivative) const {
      double s = 0.0;
      for (int k = terms - 1; k >= derivative; --k) {
        double factor = 1.0;
        for (int d = 0; d < derivative; ++d) factor *= k - d;
        s = s * t + factor * c[static_cast<std::size_t>(k)];
      }
      return s;
    }
  };
  Series series(double value, double rate, double u, double slope) const {
    Series s{};
    auto& c = s.c;
    c[0] = value;
    if (!first_order_) c[1] = rate;
    for (std::size_t k = first_order_ ? 1 : 2; k < c.size(); ++k) {
      const auto n = static_cast<double>(k);
      if (first_order_) {
        c[k] = natural_ / n * ((k == 1 ? u : k == 2 ? slope : 0.0) - c[k - 1]);
      } else {
        const double drive = (k == 2 ? u : k == 3 ? slope : 0.0) - c[k - 2];
        c[k] = natural_ / (n * (n - 1.0)) * (natural_ * drive - 2.0 * damping_ * (n - 1.0) * c[k - 1]);
      }
    }
    return s;
  }

  // A cell in which v starts or stops: goes from one such instant to the next, each placed where it is. An instant that
  // is rounded to the grid would let the output jump when a parameter moves a little, and leave the fit no way down.
  void start_and_stop(double& value, double& rate, double u, double next) const {
    constexpr int most = 4;  // only noise does more in one cell
    const double slope = (next - u) / dt_;
    double t = 0.0;  // since the cell began
    for (int event = 0; event < most; ++event) {
      double way = rate;
      if (rate == 0.0) {
        const double pull = u + slope * t - value;
        way = pull;
        if (std::abs(pull) <= friction_) {
          way = next - value;
          if (std::abs(way) <= friction_) return;
          t = std::clamp((value + std::copysign(friction_, way) - u) / slope, t, dt_);
        }
      }
      const double held = std::copysign(friction_, way), left = dt_ - t;
      const auto s = series(value, rate, u + slope * t - held, slope);
      const double end_rate = s.rate(left);
      if (end_rate * way >= 0.0) {
        value = s.value(left), rate = end_rate;
        return;
      }
      if (rate == 0.0) return;                        // begins and ends within the cell: noise, too little to matter
      double stop = left * rate / (rate - end_rate);  // of the chord; then Newton
      for (int i = 0; i < 3; ++i)
        if (const double a = s.acceleration(stop); a * way < 0.0) stop = std::clamp(stop - s.rate(stop) / a, 0.0, left);
      value = s.value(stop), rate = 0.0;
      t += stop;
    }
  }

  bool first_order_;
  double natural_, damping_, friction_, dt_;
  Row value_, rate_;
};

}  // namespace

LagResponse lag_response(const Stretch& stretch, const LagModel& model) {
  const auto& input = stretch.input;
  const Lag lag{model, stretch.dt};
  LagResponse out;
  double rate = first_slope(stretch), value = input.front() - model.slowness() * rate;
  if (model.friction > 0.0) {
    if (std::abs(rate) * 0.02 < 0.5 * model.friction) {
      // At rest: as near to the input as the measured output and the play allow, and within reach of the friction.
      rate = 0.0;
      const double measured = (stretch.start_output - model.offset) / model.gain;
      const double half = 0.5 * model.play / std::abs(model.gain);
      value = std::clamp(input.front(), measured - half, measured + half);
      value = std::clamp(value, input.front() - model.friction, input.front() + model.friction);
      out.begun_by_output = value != input.front();
    } else {
      value -= std::copysign(model.friction, rate);
    }
  }
  out.value.resize(input.size());
  out.rate.resize(input.size());
  out.value[0] = value, out.rate[0] = rate;
  for (std::size_t i = 1; i < input.size(); ++i) {
    if (model.friction > 0.0)
      lag.advance_with_friction(value, rate, input[i - 1], input[i]);
    else
      lag.advance(value, rate, input[i - 1], input[i]);
    out.value[i] = value, out.rate[i] = rate;
  }
  return out;
}

// Cubic through values and rates at both ends of the grid cell.
double LagResponse::value_at(double position, double dt) const {
  const double at = std::clamp(position, 0.0, static_cast<double>(value.size() - 1));
  const auto i = std::min(static_cast<std::size_t>(at), value.size() - 2);
  const double x = at - static_cast<double>(i), y = 1.0 - x;
  return y * y * ((1.0 + 2.0 * x) * value[i] + x * dt * rate[i]) +
         x * x * ((1.0 + 2.0 * y) * value[i + 1] - y * dt * rate[i + 1]);
}

double LagResponse::rate_at(double position) const {
  const double at = std::clamp(position, 0.0, static_cast<double>(rate.size() - 1));
  const auto i = std::min(static_cast<std::size_t>(at), rate.size() - 2);
  const double x = at - static_cast<double>(i);
  return (1.0 - x) * rate[i] + x * rate[i + 1];
}

double position_of(const Stretch& stretch, const LagModel& model, double t) {
  return (t - model.dead_time - stretch.start) / stretch.dt;
}

ModelOutput model_output(const Stretch& stretch, const LagModel& model, const LagResponse& response) {
  constexpr double long_pause = 3.0;  // grid cells without an output
  ModelOutput out;
  out.value.reserve(stretch.t.size());
  out.side.reserve(stretch.t.size());
  out.pushed_at.reserve(stretch.t.size());
  const double half = 0.5 * std::abs(model.play);
  double at = stretch.start_output, pushed_at = 0.0;
  signed char side = 0;
  const auto follow = [&](double v, double position) {
    const double w = model.gain * v + model.offset;
    const signed char pushing = w - half >= at ? 1 : w + half <= at ? -1 : 0;
    if (pushing == 0) return;
    side = pushing, pushed_at = position;
    at = w - side * half;
  };
  double last = -1.0;
  for (const double t : stretch.t) {
    const double position = position_of(stretch, model, t);
    if (position - last > long_pause)
      for (auto i = static_cast<std::size_t>(std::max(0.0, last + 1.0));
           i < response.value.size() && static_cast<double>(i) < position; ++i)
        follow(response.value[i], static_cast<double>(i));
    follow(response.value_at(position, stretch.dt), position);
    out.value.push_back(at);
    out.side.push_back(side);
    out.pushed_at.push_back(pushed_at);
    last = position;
  }
  return out;
}

}  // namespace trackrod
