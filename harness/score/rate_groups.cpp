#include "harness/score/rate_groups.hpp"

#include <algorithm>
#include <cmath>

#include "harness/score/findings.hpp"

namespace trackrod {
namespace {

constexpr double same_rate = 1.2;    // rates within this factor belong together
constexpr double whole_share = 0.6;  // of the sweep: shorter branches, as at its start and end, are left out

double width_uncertainty(const LoopGap& gap) {
  auto budget = gap.rising.budget;
  budget.insert(budget.end(), gap.falling.budget.begin(), gap.falling.budget.end());
  budget.push_back(rectangular("resolution", gap.half_width));
  return combine(gap.width, budget).standard_uncertainty;
}

}  // namespace

// Cuts all spans into branches and puts those of one rate together.
SweepSet sort_sweeps(const ScoreInput& input) {
  SweepSet set;
  for (const auto& span : input.spans) {
    auto sweep = read_sweep(input, span);
    if (sweep.trouble.empty()) {
      set.sweeps.push_back(std::move(sweep));
      continue;
    }
    ++set.left_out;
    if (set.trouble.empty()) set.trouble = sweep.trouble;
  }
  if (set.sweeps.empty() || 3 * set.left_out > input.spans.size()) return set;
  set.low = 1e300, set.high = -1e300;
  double out_low = 1e300, out_high = -1e300;
  std::vector<Branch> all;
  for (const auto& sweep : set.sweeps) {
    const auto [x0, x1] = std::minmax_element(sweep.x.begin(), sweep.x.end());
    const auto [y0, y1] = std::minmax_element(sweep.y.begin(), sweep.y.end());
    set.low = std::min(set.low, *x0), set.high = std::max(set.high, *x1);
    out_low = std::min(out_low, *y0), out_high = std::max(out_high, *y1);
    for (const auto& branch : branches_of(sweep))
      if (std::abs(sweep.x[branch.end - 1] - sweep.x[branch.begin]) > whole_share * (*x1 - *x0)) all.push_back(branch);
  }
  set.out_span = out_high - out_low;
  std::sort(all.begin(), all.end(), [](const Branch& a, const Branch& b) { return a.rate < b.rate; });
  for (const auto& branch : all) {
    if (set.groups.empty() || branch.rate > same_rate * set.groups.back().branches.front().rate)
      set.groups.emplace_back();
    set.groups.back().branches.push_back(branch);
  }
  return set;
}

LoopGap read_gap(const RateGroup& group, double position, const ReadingRule& rule) {
  LoopGap gap;
  gap.position = position;
  // The slope scales the rate, so its noise would pass for a change of the lag: take it over a wider stretch.
  ReadingRule wide = rule;
  wide.window *= 4.0;
  std::vector<double> up, up_noise, down, down_noise;
  for (const auto& branch : group.branches) {
    const auto r = read_branch(branch, position, rule);
    if (!r) continue;
    (branch.rising ? up : down).push_back(r->output);
    (branch.rising ? up_noise : down_noise).push_back(r->noise);
    const auto around = read_branch(branch, position, wide);
    gap.slope += around ? around->slope : r->slope;
    gap.rate += r->rate;
    gap.half_width = std::max(gap.half_width, r->half_width);
  }
  const auto count = static_cast<double>(up.size() + down.size());
  gap.known = !up.empty() && !down.empty();
  if (!gap.known) return gap;
  gap.slope /= count, gap.rate /= count;
  gap.half_width *= std::sqrt(2.0);
  gap.rising = repeated(up, up_noise);
  gap.falling = repeated(down, down_noise);
  gap.width = std::copysign(1.0, gap.slope) * (gap.falling.mean - gap.rising.mean);
  gap.mean = 0.5 * (gap.falling.mean + gap.rising.mean);
  gap.range = std::max(gap.rising.greatest - gap.rising.least, gap.falling.greatest - gap.falling.least);
  gap.u = width_uncertainty(gap);
  return gap;
}

void lend_repeatability(std::vector<RateGroup>& groups) {
  double sum = 0.0, freedom = 0.0;
  for (const auto& group : groups)
    for (const auto* direction : {&group.centre.rising, &group.centre.falling}) {
      if (direction->count < 2) continue;
      const auto more = static_cast<double>(direction->count - 1);
      sum += more * direction->scatter * direction->scatter;
      freedom += more;
    }
  if (freedom == 0.0) return;
  for (auto& group : groups) {
    for (auto* direction : {&group.centre.rising, &group.centre.falling})
      if (direction->count == 1)
        direction->budget.push_back(type_a("repeatability, as at the other rates", std::sqrt(sum / freedom), freedom));
    if (group.centre.known) group.centre.u = width_uncertainty(group.centre);
  }
}

}  // namespace trackrod
