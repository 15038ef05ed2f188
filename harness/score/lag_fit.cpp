#include "harness/score/lag_fit.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace trackrod {
namespace {

using Eigen::MatrixXd;
using Eigen::VectorXd;
using P = LagParameter;

double& parameter(LagModel& m, int which) {
  switch (which) {
    case P::dead_time:
      return m.dead_time;
    case P::gain:
      return m.gain;
    case P::offset:
      return m.offset;
    case P::shape:
      return m.natural;
    case P::damping:
      return m.damping;
    case P::play:
      return m.play;
    default:
      return m.friction;
  }
}
constexpr double explored_length = 20.0;  // s of motion on which starting points are compared

bool on_log_scale(int which) { return which == P::shape || which == P::damping; }

LagModel moved(LagModel m, int which, double by) {
  auto& p = parameter(m, which);
  p = on_log_scale(which) ? p * std::exp(by) : p + by;
  if (which == P::play || which == P::friction) p = std::max(0.0, p);
  return m;
}

struct Misfit {
  VectorXd residual;  // measured less modelled, all stretches
  MatrixXd slope;     // of the modelled output by each fitted parameter
};

class Fitter {
 public:
  Fitter(const std::vector<Stretch>& stretches, LagOrder order) : stretches_{stretches} {
    model_.order = order;
    for (const auto& s : stretches) count_ += s.t.size();
    double sum = 0.0, square = 0.0, low = 1e300, high = -1e300;
    for (const auto& s : stretches)
      for (const double y : s.output) sum += y, square += y * y, low = std::min(low, y), high = std::max(high, y);
    const double n = static_cast<double>(count_);
    motion_ = std::sqrt(std::max(0.0, square / n - sum / n * sum / n));
    span_ = high - low;
  }

  void start(double lag_guess);
  void descend(const std::vector<int>& free, int most_turns);
  LagFit result(const std::vector<int>& free) const;
  LagModel& model() { return model_; }
  double span() const { return span_; }
  VectorXd residual_of(const LagModel& m) const;
  Misfit misfit(const LagModel& m, const std::vector<int>& free) const;

 private:
  double step_of(int which) const;
  double solve_gain(LagModel& m, const std::vector<Response>& responses) const;

  const std::vector<Stretch>& stretches_;
  LagModel model_;
  std::size_t count_{0};
  double motion_{0.0}, span_{0.0};
  bool converged_{false};
};

VectorXd Fitter::residual_of(const LagModel& m) const {
  VectorXd r(static_cast<Eigen::Index>(count_));
  Eigen::Index k = 0;
  for (const auto& s : stretches_) {
    const auto modelled = model_output(s, m, lag_response(s, m));
    for (std::size_t i = 0; i < modelled.size(); ++i) r[k++] = s.output[i] - modelled[i];
  }
  return r;
}

double Fitter::step_of(int which) const {
  switch (which) {
    case P::dead_time:
      return 2e-5;
    case P::gain:
      return 1e-4 * std::abs(model_.gain) + 1e-12;
    case P::offset:
      return 1e-4 * span_;
    case P::shape:
      return 1e-3;
    case P::damping:
      return 1e-3;
    case P::play:
      return 1e-4 * span_;
    default:
      return 1e-4 * span_ / std::abs(model_.gain);
  }
}

Misfit Fitter::misfit(const LagModel& m, const std::vector<int>& free) const {
  Misfit out{residual_of(m), MatrixXd(static_cast<Eigen::Index>(count_), static_cast<Eigen::Index>(free.size()))};
  for (std::size_t j = 0; j < free.size(); ++j) {
    const double h = step_of(free[j]);
    const VectorXd up = residual_of(moved(m, free[j], h));
    out.slope.col(static_cast<Eigen::Index>(j)) = (out.residual - up) / h;
  }
  return out;
}

// Gain and offset that fit best for given dynamics without play; returns the sum of squares left.
double Fitter::solve_gain(LagModel& m, const std::vector<Response>& responses) const {
  m.gain = 1.0, m.offset = 0.0, m.play = 1e300;  // a gap so wide that model_output is not used with it
  double n = 0, sx = 0, sy = 0, sxx = 0, sxy = 0, syy = 0;
  for (std::size_t k = 0; k < stretches_.size(); ++k) {
    const auto& s = stretches_[k];
    m.play = 0.0;
    const auto w = model_output(s, m, responses[k]);
    for (std::size_t i = 0; i < w.size(); ++i) {
      n += 1, sx += w[i], sy += s.output[i], sxx += w[i] * w[i], sxy += w[i] * s.output[i],
          syy += s.output[i] * s.output[i];
    }
  }
  const double vx = sxx - sx * sx / n, vxy = sxy - sx * sy / n, vy = syy - sy * sy / n;
  m.gain = vx > 0.0 ? vxy / vx : 0.0;
  m.offset = (sy - m.gain * sx) / n;
  return vy - m.gain * vxy;
}

// The best of a coarse grid of dynamics that all have about the lag that is known.
void Fitter::start(double lag_guess) {
  double best = std::numeric_limits<double>::infinity();
  LagModel winner = model_;
  for (const double share : {0.1, 0.25, 0.4, 0.55, 0.7, 0.85, 1.0}) {
    LagModel m = model_;
    const double slowness = std::max(0.002, (1.0 - share) * std::abs(lag_guess));
    m.damping = 0.8;
    m.natural = (m.order == LagOrder::first ? 1.0 : 2.0 * m.damping) / slowness;
    std::vector<Response> responses;
    for (const auto& s : stretches_) responses.push_back(lag_response(s, m));
    for (const double shift : {-0.2, 0.0, 0.2}) {
      m.dead_time = lag_guess - slowness + shift * std::abs(lag_guess);
      const double left = solve_gain(m, responses);
      if (left < best) best = left, winner = m;
    }
  }
  model_ = winner;
}

// Levenberg and Marquardt, with Marquardt's scaling by the diagonal.
void Fitter::descend(const std::vector<int>& free, int most_turns) {
  double damping = 1e-3;
  converged_ = false;
  int still = 0;
  double sum = residual_of(model_).squaredNorm();
  for (int turn = 0; turn < most_turns && !converged_; ++turn) {
    const auto here = misfit(model_, free);
    const MatrixXd normal = here.slope.transpose() * here.slope;
    const VectorXd right = here.slope.transpose() * here.residual;
    bool better = false;
    for (int attempt = 0; attempt < 8 && !better; ++attempt) {
      MatrixXd damped = normal;
      damped.diagonal() += damping * (normal.diagonal().array() + 1e-12 * normal.diagonal().maxCoeff()).matrix();
      const VectorXd step = damped.ldlt().solve(right);
      LagModel m = model_;
      for (std::size_t j = 0; j < free.size(); ++j) {
        const double by = step[static_cast<Eigen::Index>(j)];
        m = moved(m, free[j], on_log_scale(free[j]) ? std::clamp(by, -0.7, 0.7) : by);
      }
      const double next = residual_of(m).squaredNorm();
      better = std::isfinite(next) && next < sum;
      if (better) {
        // A hundredth of one sample's share is far below what noise could tell; twice, lest a damped step deceives.
        still = sum - next < 0.01 * sum / static_cast<double>(count_) ? still + 1 : 0;
        converged_ = still >= 2;
        model_ = m, sum = next;
        damping = std::max(1e-9, damping * 0.2);
      } else {
        damping *= 8.0;
      }
    }
    if (!better) converged_ = true;  // no direction leads further down
  }
}

// Sum over all distances of (correlation of the residuals) x (product sum of the influences): the variance of
// sum(influence * residual) for residuals that resemble their neighbours. `sizes`: of the stretches.
struct Spread {
  double variance{0.0};
  double effective{0.0};  // independent residuals that carry it
};
Spread spread_of(const VectorXd& influence, const VectorXd& residual, const std::vector<std::size_t>& sizes) {
  const VectorXd weighted = influence.cwiseAbs().cwiseProduct(residual);
  const double weight = influence.squaredNorm();
  const double power = weighted.squaredNorm();
  Spread out;
  if (!(weight > 0.0) || !(power > 0.0)) return out;
  const double variance = power / weight;  // of a residual, where it matters
  double products = weight, memory = 1.0;
  const std::size_t shortest = *std::min_element(sizes.begin(), sizes.end());
  const std::size_t most = std::min<std::size_t>(400, shortest / 4);
  for (std::size_t k = 1; k <= most; ++k) {
    double alike = 0.0, product = 0.0;
    Eigen::Index begin = 0;
    for (const auto size : sizes) {
      const auto n = static_cast<Eigen::Index>(size) - static_cast<Eigen::Index>(k),
                 shift = static_cast<Eigen::Index>(k);
      alike += weighted.segment(begin, n).dot(weighted.segment(begin + shift, n));
      product += influence.segment(begin, n).dot(influence.segment(begin + shift, n));
      begin += static_cast<Eigen::Index>(size);
    }
    const double rho = alike / power;
    if (rho < 0.05) break;  // noise from here on
    products += 2.0 * rho * product;
    memory += 2.0 * rho;
  }
  out.variance = variance * std::max(products, 0.2 * weight);
  const double concentration = weight * weight / influence.array().square().square().sum();
  out.effective = concentration / memory;
  return out;
}

LagFit Fitter::result(const std::vector<int>& free) const {
  LagFit fit;
  fit.model = model_;
  fit.converged = converged_;
  fit.motion = motion_;
  fit.fitted.assign(P::count, false);
  for (const int which : free) fit.fitted[static_cast<std::size_t>(which)] = true;
  const auto here = misfit(model_, free);
  const auto n = static_cast<double>(count_), p = static_cast<double>(free.size());
  fit.residual = std::sqrt(here.residual.squaredNorm() / std::max(1.0, n - p));
  const auto last = here.residual.size() - 1;
  if (fit.residual > 0.0)
    fit.whiteness = here.residual.head(last).dot(here.residual.tail(last)) / here.residual.squaredNorm();

  const MatrixXd normal = here.slope.transpose() * here.slope;
  const VectorXd scale = normal.diagonal().cwiseSqrt().cwiseMax(1e-300).cwiseInverse();
  const MatrixXd scaled = scale.asDiagonal() * normal * scale.asDiagonal();
  const Eigen::SelfAdjointEigenSolver<MatrixXd> eigen{scaled};
  const double least = eigen.eigenvalues().minCoeff();
  fit.condition = least > 0.0 ? eigen.eigenvalues().maxCoeff() / least : std::numeric_limits<double>::infinity();

  std::vector<std::size_t> sizes;
  Eigen::Index begin = 0;
  for (const auto& s : stretches_) {
    sizes.push_back(s.t.size());
    fit.fitted_output.emplace_back();
    for (std::size_t i = 0; i < s.t.size(); ++i)
      fit.fitted_output.back().push_back(s.output[i] - here.residual[begin + static_cast<Eigen::Index>(i)]);
    begin += static_cast<Eigen::Index>(s.t.size());
  }
  const MatrixXd inverse =
      scale.asDiagonal() * scaled.completeOrthogonalDecomposition().pseudoInverse() * scale.asDiagonal();
  const MatrixXd influence = here.slope * inverse;  // residual -> parameters
  fit.covariance = MatrixXd::Zero(P::count, P::count);
  const auto own = [&](std::size_t a) { return influence.col(static_cast<Eigen::Index>(a)); };
  for (std::size_t a = 0; a < free.size(); ++a) {
    const auto spread = spread_of(own(a), here.residual, sizes);
    fit.covariance(free[a], free[a]) = spread.variance;
    if (free[a] == P::dead_time) fit.degrees_of_freedom = std::max(2.0, spread.effective - p);
    for (std::size_t b = 0; b < a; ++b) {  // from the variance of the sum
      const double both = spread_of(own(a) / own(a).norm() + own(b) / own(b).norm(), here.residual, sizes).variance;
      const double va = spread.variance / own(a).squaredNorm();
      const double vb = fit.covariance(free[b], free[b]) / own(b).squaredNorm();
      const double cov = 0.5 * (both - va - vb) * own(a).norm() * own(b).norm();
      fit.covariance(free[a], free[b]) = fit.covariance(free[b], free[a]) = cov;
    }
  }
  begin = 0;
  for (const auto size : sizes) {
    VectorXd pull = VectorXd::Zero(P::count);
    const auto rows = static_cast<Eigen::Index>(size);
    const VectorXd part = influence.middleRows(begin, rows).transpose() * here.residual.segment(begin, rows);
    for (std::size_t j = 0; j < free.size(); ++j) pull[free[j]] = part[static_cast<Eigen::Index>(j)];
    fit.pull.push_back(pull);
    begin += rows;
  }
  return fit;
}

// Play and friction show alike but for starts and stops, so a fit from one side may end in a by-valley: try several
// splits on the first stretches, and go on from the best.
LagModel split_lost_motion(const std::vector<Stretch>& stretches, const LagModel& plain, const std::vector<int>& free) {
  std::vector<Stretch> few;
  double length = 0.0;
  for (const auto& s : stretches) {
    if (!few.empty() && length + s.dt * static_cast<double>(s.input.size()) > explored_length) break;
    few.push_back(s);
    length += s.dt * static_cast<double>(s.input.size());
  }
  LagModel best = plain;
  double least = std::numeric_limits<double>::infinity();
  for (const auto& [play, friction] : {std::pair{1.0, 0.05}, {0.5, 0.5}, {0.05, 1.0}, {1.0, 2.0}}) {
    Fitter fitter{few, plain.order};
    fitter.model() = plain;
    fitter.model().play = play * 0.01 * fitter.span();
    fitter.model().friction = 0.5 * friction * 0.01 * fitter.span() / std::abs(plain.gain);
    fitter.descend(free, 15);
    const double left = fitter.residual_of(fitter.model()).squaredNorm();
    if (left < least) least = left, best = fitter.model();
  }
  return best;
}

}  // namespace

LagFit fit_lag(const std::vector<Stretch>& stretches, LagOrder order, bool lost_motion, double lag_guess,
               double least_friction) {
  Fitter fitter{stretches, order};
  fitter.start(lag_guess);
  std::vector<int> free{P::dead_time, P::gain, P::offset, P::shape};
  if (order == LagOrder::second) free.push_back(P::damping);
  fitter.descend(free, lost_motion ? 12 : 40);
  if (!lost_motion) return fitter.result(free);
  free.push_back(P::play);
  free.push_back(P::friction);
  fitter.model() = split_lost_motion(stretches, fitter.model(), free);
  auto& model = fitter.model();
  fitter.descend(free, 40);
  // One that came to nothing is taken out: at its bound it has no two-sided uncertainty.
  const auto before = free.size();
  if (model.friction <= std::max(least_friction, 1e-5 * fitter.span() / std::abs(model.gain)))
    model.friction = 0.0, std::erase(free, int{P::friction});
  if (model.play <= 1e-5 * fitter.span()) model.play = 0.0, std::erase(free, int{P::play});
  if (free.size() < before) fitter.descend(free, 40);
  return fitter.result(free);
}

VectorXd shift_by_input(const LagFit& fit, const std::vector<Stretch>& stretches,
                        const std::vector<std::vector<double>>& inputs) {
  auto other = stretches;
  for (std::size_t i = 0; i < other.size(); ++i) other[i].input = inputs[i];
  const Fitter before{stretches, fit.model.order}, after{other, fit.model.order};
  std::vector<int> free;
  for (int which = 0; which < P::count; ++which)
    if (fit.fitted[static_cast<std::size_t>(which)]) free.push_back(which);
  const auto here = before.misfit(fit.model, free);
  const VectorXd change = after.residual_of(fit.model) - here.residual;
  const VectorXd shift = (here.slope.transpose() * here.slope).ldlt().solve(here.slope.transpose() * change);
  VectorXd out = VectorXd::Zero(P::count);
  for (std::size_t j = 0; j < free.size(); ++j) out[free[j]] = shift[static_cast<Eigen::Index>(j)];
  return out;
}

}  // namespace trackrod
