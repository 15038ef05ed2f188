#include "harness/score/lag_fitter.hpp"

#include <algorithm>
#include <cmath>

#include "harness/score/lag_slope.hpp"

namespace trackrod {
namespace {

using Eigen::MatrixXd;
using Eigen::VectorXd;
using P = LagParameter;

constexpr double near_enough = 0.02;  // relative offset: a fiftieth of the standard uncertainty
constexpr double creeping = 1e-3;     // of one sample's share of the sum: turns that gain no more lead nowhere
constexpr double longest_step = 0.7;  // of ln(natural), ln(damping)

// The least-squares problem about the present model: the sum after a step is sum - 2 pull.step + step.normal.step.
class Surrounding {
 public:
  // `pull`: half the slope of the sum downwards.
  Surrounding(const LagModel& model, const std::vector<int>& free, MatrixXd normal, VectorXd pull)
      : normal_{std::move(normal)}, pull_{std::move(pull)}, below_(pull_.size()), above_(pull_.size()) {
    for (std::size_t j = 0; j < free.size(); ++j) {
      const double most = free[j] == P::shape || free[j] == P::damping ? longest_step : 1e300;
      below_[static_cast<Eigen::Index>(j)] = std::min(room_below(model, free[j]), most);
      above_[static_cast<Eigen::Index>(j)] = std::min(room_above(model, free[j]), most);
    }
  }

  // To the least sum, damped. A parameter that would go too far goes as far as it may, and the others then where that
  // is best.
  VectorXd step(double damping) const {
    VectorXd by = VectorXd::Zero(pull_.size());
    for (auto moving = not_at_bound(); !moving.empty();) {
      for (const auto j : moving) by[j] = 0.0;
      solve(moving, damping, by);
      std::vector<Eigen::Index> within;
      for (const auto j : moving) {
        const double wanted = by[j];
        by[j] = std::clamp(wanted, -below_[j], above_[j]);
        if (by[j] == wanted) within.push_back(j);
      }
      if (within.size() == moving.size()) break;
      moving = std::move(within);
    }
    return by;
  }

  // The same, undamped and as far as the slopes would have it; and by how much the sum would then be less.
  VectorXd full_step() const {
    VectorXd by = VectorXd::Zero(pull_.size());
    solve(not_at_bound(), 0.0, by);
    return by;
  }
  double promised(const VectorXd& full_step) const { return std::max(0.0, pull_.dot(full_step)); }

 private:
  std::vector<Eigen::Index> not_at_bound() const {
    std::vector<Eigen::Index> out;
    for (Eigen::Index j = 0; j < pull_.size(); ++j)
      if (!(below_[j] == 0.0 && pull_[j] <= 0.0) && !(above_[j] == 0.0 && pull_[j] >= 0.0)) out.push_back(j);
    return out;
  }

  // Sets `by` of the moving parameters to what is best for the others' `by`.
  void solve(const std::vector<Eigen::Index>& moving, double damping, VectorXd& by) const {
    const VectorXd scale = normal_(moving, moving).diagonal().cwiseMax(1e-300).cwiseSqrt().cwiseInverse();
    MatrixXd scaled = scale.asDiagonal() * normal_(moving, moving) * scale.asDiagonal();
    scaled.diagonal().array() += damping + 1e-12;
    const VectorXd right = scale.cwiseProduct((pull_ - normal_ * by)(moving));
    by(moving) = scale.cwiseProduct(scaled.ldlt().solve(right));
  }

  MatrixXd normal_;
  VectorXd pull_;
  VectorXd below_, above_;  // room for each parameter
};

// Variance of the input's noise behind the lag. The straight lines between its samples bound it, at two thirds of one
// sample's.
double passed_noise(const Stretch& s, const LagModel& m) {
  const double bandwidth = m.noise_bandwidth();
  return s.noise_density * bandwidth / (1.0 + 1.5 * s.dt * bandwidth);
}

}  // namespace

LagFitter::LagFitter(const std::vector<Stretch>& stretches, const LagModel& from)
    : stretches_{stretches}, model_{from} {
  for (const auto& s : stretches) count_ += s.t.size();
  double sum = 0.0, square = 0.0, low = 1e300, high = -1e300;
  for (const auto& s : stretches)
    for (const double y : s.output) sum += y, square += y * y, low = std::min(low, y), high = std::max(high, y);
  const double n = static_cast<double>(count_);
  motion_ = std::sqrt(std::max(0.0, square / n - sum / n * sum / n));
  span_ = high - low;
}

VectorXd LagFitter::residual_of(const LagModel& m) const {
  VectorXd r(static_cast<Eigen::Index>(count_));
  Eigen::Index k = 0;
  for (const auto& s : stretches_) {
    const auto modelled = model_output(s, m, lag_response(s, m)).value;
    for (std::size_t i = 0; i < modelled.size(); ++i) r[k++] = s.output[i] - modelled[i];
  }
  return r;
}

double LagFitter::sum_of_squares(const LagModel& m) const {
  double sum = residual_of(m).squaredNorm();
  for (const auto& s : stretches_) sum -= static_cast<double>(s.t.size()) * m.gain * m.gain * passed_noise(s, m);
  return sum;
}

double LagFitter::explained() const {
  double sum = 0.0;
  for (const auto& s : stretches_)
    sum += static_cast<double>(s.t.size()) * (model_.gain * model_.gain * passed_noise(s, model_) + s.rounding);
  return sum / static_cast<double>(count_);
}

VectorXd LagFitter::noise_pull(const Stretch& s, const std::vector<int>& free) const {
  const double passed = static_cast<double>(s.t.size()) * passed_noise(s, model_), square = model_.gain * model_.gain;
  const double by_bandwidth = square * passed / (1.0 + 1.5 * s.dt * model_.noise_bandwidth());  // of its logarithm
  VectorXd pull = VectorXd::Zero(static_cast<Eigen::Index>(free.size()));
  for (std::size_t j = 0; j < free.size(); ++j) {
    auto& p = pull[static_cast<Eigen::Index>(j)];
    if (free[j] == P::gain) p = model_.gain * passed;
    if (free[j] == P::shape) p = 0.5 * by_bandwidth;
    if (free[j] == P::damping) p = -0.5 * by_bandwidth;
  }
  return pull;
}

LagMisfit LagFitter::misfit(const std::vector<int>& free) const {
  const auto rows = static_cast<Eigen::Index>(count_);
  LagMisfit out{VectorXd(rows), MatrixXd(rows, static_cast<Eigen::Index>(free.size()))};
  Eigen::Index begin = 0;
  for (const auto& s : stretches_) {
    const auto modelled = sloped_output(s, model_, free);
    for (std::size_t i = 0; i < s.t.size(); ++i)
      out.residual[begin + static_cast<Eigen::Index>(i)] = s.output[i] - modelled.value[i];
    out.slope.middleRows(begin, modelled.slope.rows()) = modelled.slope;
    begin += modelled.slope.rows();
  }
  return out;
}

double LagFitter::solve_gain() {
  auto& m = model_;
  m.gain = 1.0, m.offset = m.play = m.friction = 0.0;
  double n = 0, sx = 0, sy = 0, sxx = 0, sxy = 0, syy = 0;
  for (const auto& s : stretches_) {
    const auto w = model_output(s, m, lag_response(s, m)).value;
    for (std::size_t i = 0; i < w.size(); ++i) {
      const double y = s.output[i];
      n += 1, sx += w[i], sy += y, sxx += w[i] * w[i], sxy += w[i] * y, syy += y * y;
    }
  }
  const double vx = sxx - sx * sx / n, vxy = sxy - sx * sy / n, vy = syy - sy * sy / n;
  m.gain = vx > 0.0 ? vxy / vx : 0.0;
  m.offset = (sy - m.gain * sx) / n;
  return vy - m.gain * vxy;
}

void LagFitter::descend(const std::vector<int>& free, int most_turns) {
  const auto p = static_cast<Eigen::Index>(free.size());
  const double freedom = std::max(1.0, static_cast<double>(count_) - static_cast<double>(p));
  double damping = 1e-3;
  int crept = 0;
  for (int turn = 0;; ++turn) {
    const auto here = misfit(free);
    const double sum = sum_of_squares(), variance = here.residual.squaredNorm() / freedom;
    VectorXd pull = here.slope.transpose() * here.residual;
    for (const auto& s : stretches_) pull += noise_pull(s, free);
    const Surrounding around{model_, free, here.slope.transpose() * here.slope, pull};
    undone_ = around.full_step();
    relative_offset_ = std::sqrt(around.promised(undone_) / static_cast<double>(p) / variance);
    if (relative_offset_ < near_enough || turn == most_turns || crept == 2) return;
    bool better = false;
    for (int attempt = 0; attempt < 8 && !better; ++attempt) {
      const auto by = around.step(damping);
      LagModel m = model_;
      for (Eigen::Index j = 0; j < p; ++j) m = moved(m, free[static_cast<std::size_t>(j)], by[j]);
      const double next = sum_of_squares(m);
      better = std::isfinite(next) && next < sum;
      if (better) {
        model_ = m;
        crept = sum - next < creeping * variance ? crept + 1 : 0;
      }
      damping = better ? std::max(1e-9, damping * 0.2) : damping * 8.0;
    }
    if (!better) return;
  }
}

}  // namespace trackrod
