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
constexpr std::size_t explored_outputs = 2000;
constexpr double explored_cell = 0.1;  // of the lag, at most: a grid that is finer is halved

struct Candidate {
  LagModel model;
  std::vector<int> free;
  double left{0.0};     // what the fit makes least, and what its lost motion has to earn
  double squares{0.0};  // of the residuals
};
// Play or friction that is not there finds a little to explain in the noise, and by no less than nothing: it would pull
// the gain one way. So each has to explain as much as Schwarz (1978, "Estimating the dimension of a model", from
// memory) asks of a parameter: the logarithm of the count of outputs, in units of their variance.
Candidate candidate_of(const LagFitter& fitter, const std::vector<int>& free) {
  const auto lost = std::count_if(free.begin(), free.end(), [](int which) { return which >= P::play; });
  const auto n = static_cast<double>(fitter.count());
  const double squares = fitter.residual_of(fitter.model()).squaredNorm();
  return {fitter.model(), free, fitter.sum_of_squares() + static_cast<double>(lost) * std::log(n) * squares / n,
          squares};
}
Candidate descended(const std::vector<Stretch>& stretches, const LagModel& from, const std::vector<int>& free,
                    int turns) {
  LagFitter fitter{stretches, from};
  fitter.descend(free, turns);
  return candidate_of(fitter, free);
}
void sort_best_first(std::vector<Candidate>& all) {
  std::sort(all.begin(), all.end(), [](const Candidate& a, const Candidate& b) { return a.left < b.left; });
}

// By how much (of a logarithm) the other is less likely than the best, as if one residual in four were independent.
double less_likely(const Candidate& other, const Candidate& best, std::size_t outputs) {
  return 0.5 * static_cast<double>(outputs) / 4.0 * (other.left - best.left) / best.squares;
}

std::size_t outputs_in(const std::vector<Stretch>& stretches) {
  std::size_t count = 0;
  for (const auto& s : stretches) count += s.t.size();
  return count;
}

// The input on a grid of twice the cell, smoothed so that slopes stay and noise counts less.
void coarsen(Stretch& s) {
  std::vector<double> coarse;
  for (std::size_t i = 0; i < s.input.size(); i += 2) {
    const bool at_end = i == 0 || i + 1 == s.input.size();
    coarse.push_back(at_end ? s.input[i] : 0.25 * s.input[i - 1] + 0.5 * s.input[i] + 0.25 * s.input[i + 1]);
  }
  s.input = std::move(coarse);
  s.dt *= 2.0;
}

std::vector<Stretch> first_stretches(const std::vector<Stretch>& stretches, double lag) {
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
    if (2.0 * s.dt <= explored_cell * lag) coarsen(s);
  }
  return few;
}

// Dynamics that all have about the lag that is known, from nearly all slowness to nearly all dead time. Lost motion
// passes for damping in them, so each division comes with little damping and with much.
std::vector<LagModel> divisions_of_lag(const std::vector<Stretch>& few, LagOrder order, double lag) {
  std::vector<LagModel> all;
  for (const double share : {0.1, 0.3, 0.5, 0.7, 0.9})
    for (const double damping : {0.7, 1.2}) {
      LagFitter fitter{few, {}};
      auto& m = fitter.model();
      const double slowness = std::max(0.002, (1.0 - share) * std::abs(lag));
      m.order = order;
      m.damping = damping;
      m.natural = (order == LagOrder::first ? 1.0 : 2.0 * damping) / slowness;
      LagModel best;
      double least = std::numeric_limits<double>::infinity();
      for (const double shift : {-0.15, 0.0, 0.15}) {
        m.dead_time = lag - slowness + shift * std::abs(lag);
        const double left = fitter.solve_gain();
        if (left < least) least = left, best = m;
      }
      all.push_back(best);
      if (order == LagOrder::first) break;  // has no damping
    }
  return all;
}

// Play and friction show alike but for starts and stops, and either can pass for dead time: a fit from one side may end
// in a by-valley. So try several splits from several starts, and follow those that a few turns have brought furthest
// down; the best first.
std::vector<Candidate> explore(const std::vector<Stretch>& few, const std::vector<LagModel>& starts,
                               const std::vector<int>& free) {
  constexpr int first_turns = 4, turns = 15;
  constexpr std::size_t followed = 5;
  constexpr double alike = 3e-4;  // s of dead time: on their way into the same valley
  const double span = LagFitter{few, {}}.span();
  std::vector<Candidate> all;
  for (const auto& from : starts)
    for (const auto& [play, friction] : {std::pair{1.0, 0.1}, {0.3, 1.5}}) {
      auto start = from;
      start.play = play * 0.01 * span;
      start.friction = 0.5 * friction * 0.01 * span / std::abs(from.gain);
      all.push_back(descended(few, start, free, first_turns));
    }
  sort_best_first(all);
  std::vector<Candidate> apart;
  for (const auto& c : all)
    if (apart.size() < followed && std::none_of(apart.begin(), apart.end(), [&](const Candidate& known) {
          return std::abs(known.model.dead_time - c.model.dead_time) < alike;
        }))
      apart.push_back(c);
  all = std::move(apart);
  for (auto& candidate : all) candidate = descended(few, candidate.model, free, turns);
  sort_best_first(all);
  // The lost motion is known now; what other splits of it lead to?
  const auto found = all.front().model;
  for (const double share : {0.15, 0.5, 0.85}) {
    auto other = found;
    other.play = share * found.lost_motion();
    other.friction = 0.5 * (1.0 - share) * found.lost_motion() / std::abs(found.gain);
    all.push_back(descended(few, other, free, turns));
  }
  sort_best_first(all);
  return all;
}

// The valleys that the first stretches leave open, each once: the best, and those whose dead time differs and that are
// about as likely.
std::vector<LagModel> open_valleys(const std::vector<Candidate>& candidates, std::size_t outputs) {
  constexpr double apart = 5e-5;  // s
  constexpr std::size_t most = 3;
  std::vector<LagModel> open;
  for (const auto& c : candidates) {
    const bool known = std::any_of(
        open.begin(), open.end(), [&](const LagModel& m) { return std::abs(m.dead_time - c.model.dead_time) < apart; });
    if (!known && less_likely(c, candidates.front(), outputs) < 20.0 && open.size() < most) open.push_back(c.model);
  }
  return open;
}

// The full descent from one starting point; then, where play and friction are both left, with either alone. What comes
// to nothing is taken out: at its bound it has no two-sided uncertainty.
std::vector<Candidate> descend_from(const std::vector<Stretch>& stretches, const LagModel& from, std::vector<int> free,
                                    double least_friction) {
  constexpr int turns = 40;
  LagFitter fitter{stretches, from};
  auto& model = fitter.model();
  fitter.descend(free, turns);
  const auto before = free.size();
  if (model.friction <= std::max(least_friction, 1e-5 * fitter.span() / std::abs(model.gain)))
    model.friction = 0.0, std::erase(free, int{P::friction});
  if (model.play <= 1e-5 * fitter.span()) model.play = 0.0, std::erase(free, int{P::play});
  if (free.size() < before) fitter.descend(free, turns);
  std::vector<Candidate> ends{candidate_of(fitter, free)};
  if (model.play > 0.0 && model.friction > 0.0)
    for (const int without : {P::play, P::friction}) {
      auto simple = ends.front().model;
      const double lost = simple.lost_motion();
      simple.play = without == P::play ? 0.0 : lost;
      simple.friction = without == P::play ? 0.5 * lost / std::abs(simple.gain) : 0.0;
      auto fewer = free;
      std::erase(fewer, without);
      ends.push_back(descended(stretches, simple, fewer, turns));
    }
  return ends;
}

}  // namespace

LagFit fit_lag(const std::vector<Stretch>& stretches, LagOrder order, bool lost_motion, double lag_guess,
               double least_friction) {
  const auto few = first_stretches(stretches, lag_guess);
  std::vector<int> free{P::dead_time, P::gain, P::offset, P::shape};
  if (order == LagOrder::second) free.push_back(P::damping);
  auto starts = divisions_of_lag(few, order, lag_guess);
  LagFitter plain{few, starts[starts.size() / 2]};
  plain.descend(free, 20);
  starts.push_back(plain.model());
  if (!lost_motion) {
    LagFitter fitter{stretches, plain.model()};
    fitter.descend(free, 40);
    return worth_of(fitter, stretches, free);
  }
  free.push_back(P::play);
  free.push_back(P::friction);
  std::vector<Candidate> ends;
  for (const auto& from : open_valleys(explore(few, starts, free), outputs_in(few)))
    for (auto& end : descend_from(stretches, from, free, least_friction)) ends.push_back(std::move(end));
  sort_best_first(ends);
  LagFitter fitter{stretches, ends.front().model};
  fitter.descend(ends.front().free, 0);  // says whether it has arrived
  auto fit = worth_of(fitter, stretches, ends.front().free);
  for (std::size_t i = 1; i < ends.size(); ++i)
    fit.rivals.push_back({ends[i].model, std::exp(-less_likely(ends[i], ends.front(), outputs_in(stretches)))});
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
