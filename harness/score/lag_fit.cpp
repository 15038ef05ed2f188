#include "harness/score/lag_fit.hpp"

#include <algorithm>
#include <cmath>

#include "harness/score/lag_fitter.hpp"
#include "harness/score/lag_worth.hpp"

namespace trackrod {
namespace {

using P = LagParameter;

// Starting points are compared on the first stretches, thinned.
constexpr double explored_length = 12.0;  // s
constexpr std::size_t explored_outputs = 4000;
constexpr std::size_t kept_starts = 3;

struct Candidate {
  LagModel model;
  double left{0.0};  // sum of squares
};

std::size_t outputs_in(const std::vector<Stretch>& stretches) {
  std::size_t count = 0;
  for (const auto& s : stretches) count += s.t.size();
  return count;
}

std::vector<Stretch> first_stretches(const std::vector<Stretch>& stretches) {
  std::vector<Stretch> few;
  double length = 0.0;
  for (const auto& s : stretches) {
    if (length >= explored_length) break;
    few.push_back(s);
    auto& last = few.back();
    const auto most = static_cast<std::size_t>((explored_length - length) / s.dt) + 2;
    if (last.input.size() > most) last.input.resize(most);
    const double end = last.start + last.dt * static_cast<double>(last.input.size());
    const auto kept = std::lower_bound(last.t.begin(), last.t.end(), end) - last.t.begin();
    last.t.resize(static_cast<std::size_t>(kept));
    last.output.resize(static_cast<std::size_t>(kept));
    length += s.dt * static_cast<double>(last.input.size());
  }
  const std::size_t stride = outputs_in(few) / explored_outputs + 1;
  for (auto& s : few) {
    const std::size_t kept = (s.t.size() + stride - 1) / stride;
    for (std::size_t i = 0; i < kept; ++i) s.t[i] = s.t[i * stride], s.output[i] = s.output[i * stride];
    s.t.resize(kept);
    s.output.resize(kept);
  }
  return few;
}

// Dynamics that all have about the lag that is known, from nearly all slowness to nearly all dead time; the best of
// each division, best first.
std::vector<Candidate> divisions_of_lag(const std::vector<Stretch>& few, LagOrder order, double lag) {
  std::vector<Candidate> all;
  for (const double share : {0.1, 0.25, 0.4, 0.55, 0.7, 0.85}) {
    Candidate best{{}, std::numeric_limits<double>::infinity()};
    for (const double damping : {0.5, 0.8, 1.3}) {
      LagFitter fitter{few, {}};
      auto& m = fitter.model();
      const double slowness = std::max(0.002, (1.0 - share) * std::abs(lag));
      m.order = order;
      m.damping = damping;
      m.natural = (order == LagOrder::first ? 1.0 : 2.0 * damping) / slowness;
      for (const double shift : {-0.15, 0.0, 0.15}) {
        m.dead_time = lag - slowness + shift * std::abs(lag);
        const double left = fitter.solve_gain();
        if (left < best.left) best = {m, left};
      }
      if (order == LagOrder::first) break;  // has no damping
    }
    all.push_back(best);
  }
  std::sort(all.begin(), all.end(), [](const Candidate& a, const Candidate& b) { return a.left < b.left; });
  return all;
}

// Play and friction show alike but for starts and stops, and either can pass for dead time: a fit from one side may end
// in a by-valley. So try several splits from several starts; the best first.
std::vector<Candidate> explore(const std::vector<Stretch>& few, const std::vector<LagModel>& starts,
                               const std::vector<int>& free) {
  std::vector<Candidate> all;
  for (const auto& from : starts)
    for (const auto& [play, friction] : {std::pair{1.0, 0.05}, {0.5, 0.5}, {0.05, 1.0}, {1.0, 2.0}}) {
      LagFitter fitter{few, from};
      fitter.model().play = play * 0.01 * fitter.span();
      fitter.model().friction = 0.5 * friction * 0.01 * fitter.span() / std::abs(from.gain);
      fitter.descend(free, 15);
      all.push_back({fitter.model(), fitter.sum_of_squares()});
    }
  std::sort(all.begin(), all.end(), [](const Candidate& a, const Candidate& b) { return a.left < b.left; });
  return all;
}

// The valleys that the first stretches leave open, each once: the best, and those whose dead time differs and whose
// residuals are about as likely, as if one in four were independent.
std::vector<LagModel> open_valleys(const std::vector<Candidate>& candidates, std::size_t outputs) {
  constexpr double apart = 5e-5;  // s
  constexpr std::size_t most = 3;
  std::vector<LagModel> open;
  for (const auto& c : candidates) {
    const double worse = 0.5 * static_cast<double>(outputs) / 4.0 * (c.left / candidates.front().left - 1.0);
    const bool known = std::any_of(
        open.begin(), open.end(), [&](const LagModel& m) { return std::abs(m.dead_time - c.model.dead_time) < apart; });
    if (!known && worse < 20.0 && open.size() < most) open.push_back(c.model);
  }
  return open;
}

// The full descent from one starting point. Play or friction that comes to nothing is taken out: at its bound it has no
// two-sided uncertainty.
struct Descent {
  LagModel model;
  std::vector<int> free;
  double left{0.0};
};
Descent descend_from(const std::vector<Stretch>& stretches, const LagModel& from, std::vector<int> free,
                     double least_friction) {
  LagFitter fitter{stretches, from};
  auto& model = fitter.model();
  fitter.descend(free, 40);
  const auto before = free.size();
  if (model.friction <= std::max(least_friction, 1e-5 * fitter.span() / std::abs(model.gain)))
    model.friction = 0.0, std::erase(free, int{P::friction});
  if (model.play <= 1e-5 * fitter.span()) model.play = 0.0, std::erase(free, int{P::play});
  if (free.size() < before) fitter.descend(free, 40);
  return {model, free, fitter.sum_of_squares()};
}

}  // namespace

LagFit fit_lag(const std::vector<Stretch>& stretches, LagOrder order, bool lost_motion, double lag_guess,
               double least_friction) {
  const auto few = first_stretches(stretches);
  std::vector<int> free{P::dead_time, P::gain, P::offset, P::shape};
  if (order == LagOrder::second) free.push_back(P::damping);
  std::vector<LagModel> starts;
  for (const auto& candidate : divisions_of_lag(few, order, lag_guess))
    if (starts.size() < kept_starts) starts.push_back(candidate.model);
  LagFitter plain{few, starts.front()};
  plain.descend(free, 20);
  starts.push_back(plain.model());
  if (!lost_motion) {
    LagFitter fitter{stretches, plain.model()};
    fitter.descend(free, 40);
    return worth_of(fitter, stretches, free);
  }
  free.push_back(P::play);
  free.push_back(P::friction);
  std::vector<Descent> ends;
  for (const auto& from : open_valleys(explore(few, starts, free), outputs_in(few)))
    ends.push_back(descend_from(stretches, from, free, least_friction));
  std::sort(ends.begin(), ends.end(), [](const Descent& a, const Descent& b) { return a.left < b.left; });
  LagFitter fitter{stretches, ends.front().model};
  fitter.descend(ends.front().free, 0);  // says whether it has arrived
  auto fit = worth_of(fitter, stretches, ends.front().free);
  for (std::size_t i = 1; i < ends.size(); ++i) {
    const double worse =
        0.5 * static_cast<double>(outputs_in(stretches)) / 4.0 * (ends[i].left / ends.front().left - 1.0);
    fit.rivals.push_back({ends[i].model, std::exp(-worse)});
  }
  return fit;
}

Eigen::VectorXd shift_by_input(const LagFit& fit, const std::vector<Stretch>& stretches,
                               const std::vector<std::vector<double>>& inputs) {
  auto other = stretches;
  for (std::size_t i = 0; i < other.size(); ++i) other[i].input = inputs[i];
  const LagFitter before{stretches, fit.model}, after{other, fit.model};
  std::vector<int> free;
  for (int which = 0; which < P::count; ++which)
    if (fit.fitted[static_cast<std::size_t>(which)]) free.push_back(which);
  const auto here = before.misfit(free);
  const Eigen::VectorXd change = after.residual_of(fit.model) - here.residual;
  const Eigen::VectorXd shift = (here.slope.transpose() * here.slope).ldlt().solve(here.slope.transpose() * change);
  Eigen::VectorXd out = Eigen::VectorXd::Zero(P::count);
  for (std::size_t j = 0; j < free.size(); ++j) out[free[j]] = shift[static_cast<Eigen::Index>(j)];
  return out;
}

}  // namespace trackrod
