// The score `play`: lost motion when the force on one end reverses while the other end is held. docs/scores/play.md.

#include <algorithm>
#include <cmath>
#include <optional>

#include "harness/score/budget.hpp"
#include "harness/score/figure.hpp"
#include "harness/score/findings.hpp"
#include "harness/score/flank.hpp"
#include "harness/score/loop.hpp"
#include "harness/score/scores.hpp"
#include "harness/score/scoring.hpp"

namespace trackrod {
namespace {

struct PlaySettings {
  double from{30.0}, to{80.0};  // % of the greatest force
};

const Fields<PlaySettings>& play_fields() {
  static const auto fields =
      Fields<PlaySettings>{"score", "Lost motion and compliance, from a force that is swept to and fro through zero"}
          .may("from", &PlaySettings::from, quantity("%", 5.0, 80.0),
               "part of the greatest force above which the flanks count as stiff; 30 % when not given")
          .may("to", &PlaySettings::to, quantity("%", 20.0, 99.0),
               "part of the greatest force up to which they are read; 80 % when not given");
  return fields;
}

constexpr std::size_t fewest_samples = 20;

// The force, within +- most, at which the output, without what bends, passes a value on the branch; from straight lines
// between samples.
std::optional<double> force_at(const Branch& branch, double output, double compliance, double most) {
  const auto& s = *branch.sweep;
  for (std::size_t i = branch.begin + 1; i < branch.end; ++i) {
    const double a = s.y[i - 1] - compliance * s.x[i - 1] - output, b = s.y[i] - compliance * s.x[i] - output;
    if (a * b > 0.0 || a == b || std::abs(s.x[i]) > most) continue;
    return s.x[i - 1] + (s.x[i] - s.x[i - 1]) * a / (a - b);
  }
  return std::nullopt;
}

struct Crossing {
  bool rising{false};
  double gap{0.0}, gap_noise{0.0};
  double low{0.0};  // end of the gap on the side of the negative force, output unit
  double compliance{0.0}, compliance_noise{0.0};
  double bend{0.0};             // of the gap, when only the outer half of the flanks is read
  double outer_noise{0.0};      // of the gap read so
  double uneven{0.0};           // difference of the two flanks' slopes
  std::optional<double> force;  // in the middle of the gap
};

std::optional<Crossing> read_crossing(const Branch& branch, double greatest, const PlaySettings& settings) {
  const double from = 0.01 * settings.from * greatest, to = 0.01 * settings.to * greatest, half = 0.5 * (from + to);
  const auto& s = *branch.sweep;
  const auto fit = [&](double low, double high) {
    return fit_flank(s.x, s.y, branch.begin, branch.end, low, high, s.x_noise, fewest_samples);
  };
  const auto up = fit(from, to), down = fit(-to, -from), outer_up = fit(half, to), outer_down = fit(-to, -half);
  if (!up || !down || !outer_up || !outer_down) return std::nullopt;
  Crossing c;
  c.rising = branch.rising;
  c.compliance = 0.5 * (up->slope + down->slope);
  c.compliance_noise = 0.5 * std::hypot(up->slope_noise, down->slope_noise);
  const double sign = std::copysign(1.0, c.compliance);
  c.gap = sign * (up->at_zero - down->at_zero);
  c.low = down->at_zero;
  c.gap_noise = std::hypot(up->at_zero_noise, down->at_zero_noise);
  c.bend = sign * (outer_up->at_zero - outer_down->at_zero) - c.gap;
  c.outer_noise = std::hypot(outer_up->at_zero_noise, outer_down->at_zero_noise);
  c.uneven = up->slope - down->slope;
  c.force = force_at(branch, 0.5 * (up->at_zero + down->at_zero), c.compliance, from);
  return c;
}

class StepPlay {
 public:
  StepPlay(const ScoreInput& input, const std::string& step, const std::vector<Span>& spans);
  void add_to(ScoreResult& result) const;

 private:
  std::string why_not() const;
  Finding gap() const;
  Finding compliance() const;
  Finding crossing_force() const;
  Figure figure() const;
  Finding missing(const std::string& name, const std::string& why) const;
  template <class Of>
  Repeated over_crossings(const Of& of) const;

  const PlaySettings& settings_;
  const SignalInfo &in_, &out_;
  Frame frame_;
  std::size_t tried_;
  std::vector<Sweep> sweeps_;  // branches point into it
  std::vector<Crossing> crossings_;
  double greatest_{0.0};
  std::string trouble_;
};

StepPlay::StepPlay(const ScoreInput& input, const std::string& step, const std::vector<Span>& spans)
    : settings_{std::any_cast<const PlaySettings&>(input.settings)},
      in_{input.capture.signals()[input.signal("input")]},
      out_{input.capture.signals()[input.signal("output")]},
      frame_{pair_frame(input, "play", step)},
      tried_{spans.size()} {
  const ScoreInput here{input.capture, spans, input.signals, input.settings};
  for (const auto& span : spans) {
    auto sweep = read_sweep(here, span);
    if (sweep.trouble.empty())
      sweeps_.push_back(std::move(sweep));
    else if (trouble_.empty())
      trouble_ = sweep.trouble;
  }
  // As far as the force goes to both sides.
  for (const auto& sweep : sweeps_) {
    const auto [low, high] = std::minmax_element(sweep.x.begin(), sweep.x.end());
    greatest_ = std::max(greatest_, std::min(-*low, *high));
  }
  for (const auto& sweep : sweeps_)
    for (const auto& branch : branches_of(sweep))
      if (const auto crossing = read_crossing(branch, greatest_, settings_)) crossings_.push_back(*crossing);
}

std::string StepPlay::why_not() const {
  if (sweeps_.empty()) return trouble_.empty() ? "no complete step to score" : trouble_;
  if (greatest_ <= 0.0) return "'" + in_.name + "' does not go through zero: play shows only where the force reverses";
  if (crossings_.size() < 2)
    return "needs two branches or more that go from one side to the other; found " + std::to_string(crossings_.size());
  return "";
}

Finding StepPlay::missing(const std::string& name, const std::string& why) const {
  for (const auto& kind : play_score().entry.findings)
    if (kind.name == name) return frame_.missing(name, finding_unit(kind.unit, in_.unit, out_.unit), why, tried_ > 0);
  return frame_.missing(name, "1", why, tried_ > 0);
}

template <class Of>
Repeated StepPlay::over_crossings(const Of& of) const {
  std::vector<double> values, noise;
  for (const auto& c : crossings_) {
    const auto [value, u] = of(c);
    values.push_back(value);
    noise.push_back(u);
  }
  return repeated(values, noise);
}

Finding StepPlay::gap() const {
  const auto found = over_crossings([](const Crossing& c) { return std::pair{c.gap, c.gap_noise}; });
  // A quarter more for flanks that do not bend evenly.
  const double missed = 1.25 * missed_by_a_line(settings_.from, settings_.to);
  double outer_squares = 0.0, squares = 0.0;
  for (const auto& c : crossings_) outer_squares += c.outer_noise * c.outer_noise, squares += c.gap_noise * c.gap_noise;
  const double n = static_cast<double>(crossings_.size());
  const double bend = bend_beyond_noise(over_crossings([](const Crossing& c) {
                                          return std::pair{c.bend, 0.0};
                                        }).mean,
                                        std::sqrt(outer_squares) / n, std::sqrt(squares) / n);
  const double uneven = over_crossings([](const Crossing& c) { return std::pair{c.uneven, 0.0}; }).mean;
  auto budget = found.budget;
  budget.push_back(rectangular("flanks that are not straight", missed * bend));
  // A wrong zero of the force shifts both ends alike where both flanks are equally stiff.
  budget.push_back(type_b("zero of '" + in_.name + "'", std::abs(uneven) * in_.calibration.standard_uncertainty));
  budget.push_back(
      type_b("calibration of '" + out_.name + "'", out_.calibration.gain_uncertainty * std::abs(found.mean)));
  budget.push_back(rectangular("resolution", out_.resolution / std::sqrt(static_cast<double>(2 * fewest_samples))));
  const double u = combine(found.mean, budget).standard_uncertainty;
  if (found.mean < -3.0 * u)
    return missing("gap", "the output jumps back where the force reverses, by " + with_unit(-found.mean, out_.unit) +
                              ": that is no play");
  return frame_.measured("gap", out_.unit, found.mean, std::move(budget));
}

Finding StepPlay::compliance() const {
  const auto found = over_crossings([](const Crossing& c) { return std::pair{c.compliance, c.compliance_noise}; });
  auto budget = found.budget;
  const double moved = found.mean * greatest_;
  for (auto& line : calibration_budget(in_, greatest_, found.mean / greatest_)) budget.push_back(line);
  for (auto& line : calibration_budget(out_, moved, 1.0 / greatest_)) budget.push_back(line);
  return frame_.measured("compliance", finding_unit("output/input", in_.unit, out_.unit), found.mean,
                         std::move(budget));
}

// Half the distance between the forces at which the output passes the middle of the gap one way and the other.
Finding StepPlay::crossing_force() const {
  std::vector<double> up, down;
  for (const auto& c : crossings_)
    if (c.force) (c.rising ? up : down).push_back(*c.force);
  if (up.empty() || down.empty())
    return missing("crossing_force", "the middle of the gap is not passed in each direction");
  const auto rising = repeated(up, std::vector<double>(up.size(), sweeps_.front().in_noise));
  const auto falling = repeated(down, std::vector<double>(down.size(), sweeps_.front().in_noise));
  std::vector<Contribution> budget;
  for (const auto* side : {&rising, &falling})
    for (auto line : side->budget) {
      line.name += side == &rising ? ", rising" : ", falling";
      line.standard_uncertainty *= 0.5;
      budget.push_back(std::move(line));
    }
  const double force = 0.5 * std::abs(rising.mean - falling.mean);
  for (auto& line : calibration_budget(in_, 2.0 * force, 0.5)) budget.push_back(line);
  budget.push_back(rectangular("resolution", in_.resolution));
  return frame_.measured("crossing_force", in_.unit, force, std::move(budget));
}

Figure StepPlay::figure() const {
  Figure f{"Output over force, " + frame_.step,
           in_.name + " (" + in_.unit + ")",
           out_.name + " (" + out_.unit + ")",
           {thinned("measured", sweeps_.front().x, sweeps_.front().y)},
           {}};
  f.marks.push_back({"no force", 'x', 0.0, 0.0});
  const double low = over_crossings([](const Crossing& c) { return std::pair{c.low, 0.0}; }).mean;
  f.marks.push_back({"gap, from", 'y', low, 0.0});
  add_mark(f, "to", 'y', gap(), low);
  return f;
}

void StepPlay::add_to(ScoreResult& result) const {
  if (const auto why = why_not(); !why.empty()) {
    for (const auto& kind : play_score().entry.findings) result.findings.push_back(missing(kind.name, why));
    return;
  }
  result.findings.push_back(gap());
  result.findings.push_back(compliance());
  result.findings.push_back(crossing_force());
  result.figures.push_back(figure());
}

ScoreResult run_play(const ScoreInput& input) {
  ScoreResult result;
  for (const auto& [step, spans] : by_step(input.spans)) StepPlay{input, step, spans}.add_to(result);
  if (input.spans.empty()) StepPlay{input, "", {}}.add_to(result);
  return result;
}

}  // namespace

ScoreKind play_score() {
  ScoreKind score;
  score.entry.settings = kind("play", play_fields);
  score.entry.roles = {{"input", "the force that is swept through zero, such as the bench's force sensor at the rack"},
                       {"output", "what moves under it, such as the bench's angle sensor at the road wheel"}};
  score.entry.findings = {{"gap", "output", "distance of the two stiff flanks at no force"},
                          {"compliance", "output/input", "slope of the flanks: what bends, without the gap"},
                          {"crossing_force", "input", "force that carries the output through the gap: friction in it"}};
  score.run = run_play;
  return score;
}

}  // namespace trackrod
