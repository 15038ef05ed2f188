// The score `following`: up to which rate the output keeps up with its input, and at which rate of its own it stays
// when it does not. docs/scores/following.md.

#include <algorithm>
#include <cmath>

#include "harness/score/budget.hpp"
#include "harness/score/figure.hpp"
#include "harness/score/findings.hpp"
#include "harness/score/loop.hpp"
#include "harness/score/scores.hpp"
#include "harness/score/scoring.hpp"

namespace trackrod {
namespace {

struct FollowingSettings {
  double shortfall{5.0};  // %
};

const Fields<FollowingSettings>& following_fields() {
  static const auto fields =
      Fields<FollowingSettings>{"score",
                                "Up to which rate the output follows sweeps of growing rate, and its own limit"}
          .may("shortfall", &FollowingSettings::shortfall, quantity("%", 0.5, 50.0),
               "followed means: the output's rate falls short of what the input asks by no more; 5 % when not given");
  return fields;
}

constexpr double whole = 0.6;  // of the sweep: shorter branches, as at its start and end, are left out

// What the whole branches of a signal say of its rate.
struct Pace {
  std::vector<double> rates, noise;
};

// Rates over the middle half of each branch between the signal's own reversals.
Pace pace_of(const Sweep& sweep, double noise) {
  Pace pace;
  const auto [low, high] = std::minmax_element(sweep.x.begin(), sweep.x.end());
  for (const auto& branch : branches_of(sweep)) {
    if (std::abs(sweep.x[branch.end - 1] - sweep.x[branch.begin]) < whole * (*high - *low)) continue;
    const double n = 0.5 * static_cast<double>(branch.end - branch.begin);
    const double length = 0.5 * (sweep.t[branch.end - 1] - sweep.t[branch.begin]);
    if (n < 6.0) continue;
    pace.rates.push_back(branch.rate);
    pace.noise.push_back(noise * std::sqrt(12.0 / n) / length);  // of a slope through n even samples
  }
  return pace;
}

// All sweeps of one step: one rate.
struct Rung {
  std::string step;
  std::vector<Sweep> sweeps;
  Repeated in, out;  // rates, positive
  double gap{0.0};   // output unit, see `error`
  double gap_noise{0.0};
  std::string trouble;
};

class Following {
 public:
  explicit Following(const ScoreInput& input);
  ScoreResult run() const;

 private:
  void read_rung(const std::string& step, const std::vector<Span>& spans);
  void read_errors();
  double share(const Rung& rung) const { return rung.out.mean / (gain_ * rung.in.mean); }
  bool follows(const Rung& rung) const { return share(rung) >= 1.0 - 0.01 * settings_.shortfall; }
  double relative(const Repeated& rate) const {
    return combine(rate.mean, rate.budget).standard_uncertainty / rate.mean;
  }
  Frame frame_for(const Rung& rung) const;
  Finding share_of(const Rung& rung) const;
  Finding error_of(const Rung& rung) const;
  Finding rate_limit() const;
  Finding followed_rate() const;
  Figure figure() const;
  Finding missing(const std::string& name, const std::string& why) const;

  const ScoreInput& input_;
  const FollowingSettings& settings_;
  const SignalInfo &in_, &out_;
  std::vector<Rung> rungs_;  // slow first
  double gain_{0.0};         // output per input, of the slowest
  std::string trouble_;
};

Following::Following(const ScoreInput& input)
    : input_{input},
      settings_{std::any_cast<const FollowingSettings&>(input.settings)},
      in_{input.capture.signals()[input.signal("input")]},
      out_{input.capture.signals()[input.signal("output")]} {
  for (const auto& [step, spans] : by_step(input.spans)) read_rung(step, spans);
  std::sort(rungs_.begin(), rungs_.end(), [](const Rung& a, const Rung& b) { return a.in.mean < b.in.mean; });
  if (rungs_.empty()) return;
  gain_ = rungs_.front().out.mean / rungs_.front().in.mean;
  read_errors();
}

void Following::read_rung(const std::string& step, const std::vector<Span>& spans) {
  Rung rung;
  rung.step = step;
  Pace in, out;
  for (const auto& span : spans) {
    auto sweep = read_sweep(input_, span);
    if (!sweep.trouble.empty()) {
      if (rung.trouble.empty()) rung.trouble = sweep.trouble;
      continue;
    }
    Sweep turned = sweep;
    std::swap(turned.x, turned.y);
    for (const auto& [pace, all] :
         {std::pair{pace_of(sweep, sweep.in_noise), &in}, std::pair{pace_of(turned, sweep.out_noise), &out}}) {
      all->rates.insert(all->rates.end(), pace.rates.begin(), pace.rates.end());
      all->noise.insert(all->noise.end(), pace.noise.begin(), pace.noise.end());
    }
    rung.sweeps.push_back(std::move(sweep));
  }
  if (in.rates.size() < 2 || out.rates.size() < 2) {
    if (trouble_.empty())
      trouble_ = !rung.trouble.empty() ? rung.trouble
                                       : "step '" + step + "' has fewer than two whole sweeps from side to side";
    return;
  }
  rung.in = repeated(in.rates, in.noise);
  rung.out = repeated(out.rates, out.noise);
  rungs_.push_back(std::move(rung));
}

// How far the output is behind at the end of each sweep to a side, its last tenth: there it is greatest.
void Following::read_errors() {
  // The middle line of the slowest sweeps, through the middle of both extremes.
  const auto middle = [](const std::vector<double>& v) {
    const auto [low, high] = std::minmax_element(v.begin(), v.end());
    return 0.5 * (*low + *high);
  };
  const auto& slow = rungs_.front().sweeps.front();
  double with = 0.0;
  for (std::size_t i = 0; i < slow.x.size(); ++i) with += (slow.x[i] - middle(slow.x)) * (slow.y[i] - middle(slow.y));
  const double gain = std::copysign(gain_, with), x0 = middle(slow.x), y0 = middle(slow.y);
  for (auto& rung : rungs_) {
    std::vector<double> behind, noise;
    for (const auto& sweep : rung.sweeps) {
      const auto [low, high] = std::minmax_element(sweep.x.begin(), sweep.x.end());
      for (const auto& branch : branches_of(sweep)) {
        if (std::abs(sweep.x[branch.end - 1] - sweep.x[branch.begin]) < whole * (*high - *low)) continue;
        const std::size_t last = std::max<std::size_t>(1, (branch.end - branch.begin) / 10);
        double sum = 0.0;
        for (std::size_t i = branch.end - last; i < branch.end; ++i)
          sum += (y0 + gain * (sweep.x[i] - x0) - sweep.y[i]) / static_cast<double>(last);
        behind.push_back((branch.rising ? 1.0 : -1.0) * std::copysign(1.0, gain) * sum);
        noise.push_back(std::hypot(sweep.out_noise, gain_ * sweep.in_noise) / std::sqrt(static_cast<double>(last)));
      }
    }
    const auto found = repeated(behind, noise);
    rung.gap = found.mean;
    rung.gap_noise = combine(found.mean, found.budget).standard_uncertainty;
  }
}

Frame Following::frame_for(const Rung& rung) const {
  auto frame = pair_frame(input_, "following", rung.step);
  frame.conditions.emplace_back("rate", with_unit(rung.in.mean, in_.unit + "/s"));
  frame.conditions.emplace_back("sweeps", std::to_string(rung.in.count));
  return frame;
}

// The slowest rate gives the gain, so calibration goes out of a share.
Finding Following::share_of(const Rung& rung) const {
  const double percent = 100.0 * share(rung);
  return frame_for(rung).measured(
      "share", "%", percent,
      {type_a("rate of the input", percent * relative(rung.in), static_cast<double>(rung.in.count - 1)),
       type_a("rate of the output", percent * relative(rung.out), static_cast<double>(rung.out.count - 1)),
       type_a("gain at the slowest rate",
              percent * std::hypot(relative(rungs_.front().in), relative(rungs_.front().out)),
              static_cast<double>(rungs_.front().out.count - 1))});
}

Finding Following::error_of(const Rung& rung) const {
  std::vector<Contribution> budget{
      type_a("noise and repeatability", rung.gap_noise, static_cast<double>(rung.out.count - 1)),
      type_b("noise at the extremes of the slowest sweep",
             std::hypot(rungs_.front().sweeps.front().out_noise, gain_ * rungs_.front().sweeps.front().in_noise))};
  for (auto line : calibration_budget(out_, rung.gap)) budget.push_back(line);
  const auto& sweep = rung.sweeps.front();
  for (auto line : time_shift_budget(in_, out_, sweep.in_half_width, sweep.out_half_width)) {
    line.standard_uncertainty *= 1e-3 * gain_ * rung.in.mean;
    budget.push_back(std::move(line));
  }
  return frame_for(rung).measured("error", out_.unit, rung.gap, std::move(budget));
}

Finding Following::rate_limit() const {
  std::vector<double> rates, noise;
  std::string steps;
  for (const auto& rung : rungs_) {
    if (follows(rung)) continue;
    rates.push_back(rung.out.mean);
    noise.push_back(combine(rung.out.mean, rung.out.budget).standard_uncertainty);
    steps += (steps.empty() ? "" : ", ") + rung.step;
  }
  if (rates.empty())
    return missing("rate_limit", "all rates were followed, up to " + with_unit(rungs_.back().in.mean, in_.unit + "/s") +
                                     ": the limit is higher");
  const auto found = repeated(rates, noise);
  auto frame = pair_frame(input_, "following", steps);
  auto budget = found.budget;
  budget.push_back(type_b("calibration of '" + out_.name + "'", out_.calibration.gain_uncertainty * found.mean));
  return frame.measured("rate_limit", out_.unit + "/s", found.mean, std::move(budget));
}

// Where the limit of the output's rate meets what the input asks, when that lies between the last rate followed and the
// first one not followed; else anywhere between these two.
Finding Following::followed_rate() const {
  const Rung* followed = nullptr;
  const Rung* lost = nullptr;
  for (const auto& rung : rungs_) {
    if (follows(rung) && lost != nullptr)
      return missing("followed_rate", "step '" + rung.step + "' was followed and a slower one was not");
    (follows(rung) ? followed : lost) = follows(rung) ? &rung : lost == nullptr ? &rung : lost;
  }
  auto frame = pair_frame(input_, "following", followed->step + (lost != nullptr ? ", " + lost->step : ""));
  const auto unit = in_.unit + "/s";
  const auto gain_line =
      type_b("calibration of '" + in_.name + "'", in_.calibration.gain_uncertainty * followed->in.mean);
  if (lost == nullptr) {
    frame.conditions.emplace_back("all", "every rate was followed: the greatest may be higher");
    auto budget = followed->in.budget;
    budget.push_back(gain_line);
    return frame.measured("followed_rate", unit, followed->in.mean, std::move(budget));
  }
  frame.conditions.emplace_back("last_followed", with_unit(followed->in.mean, unit));
  frame.conditions.emplace_back("first_not_followed", with_unit(lost->in.mean, unit));
  const auto limit = rate_limit();
  const double meets = limit.value ? *limit.value / gain_ : 0.0;
  if (meets > followed->in.mean && meets < lost->in.mean) {
    const double gain_u = std::hypot(relative(rungs_.front().in), relative(rungs_.front().out));
    return frame.measured(
        "followed_rate", unit, meets,
        {type_a("rate of the output", *limit.standard_uncertainty / gain_, static_cast<double>(lost->out.count - 1)),
         type_a("gain at the slowest rate", meets * gain_u, static_cast<double>(rungs_.front().out.count - 1)),
         gain_line});
  }
  return frame.measured("followed_rate", unit, 0.5 * (followed->in.mean + lost->in.mean),
                        {rectangular("between two rates", 0.5 * (lost->in.mean - followed->in.mean)), gain_line});
}

Figure Following::figure() const {
  Figure f{"Rate of the output over that of the input",
           in_.name + " (" + in_.unit + "/s)",
           out_.name + " (" + out_.unit + "/s)",
           {},
           {}};
  Curve measured{"measured", {}, {}, Curve::Style::points}, asked{"asked for", {}, {}};
  for (const auto& rung : rungs_) {
    add_finding(measured, rung.in.mean, share_of(rung), 0.01 * gain_ * rung.in.mean);
    asked.x.push_back(rung.in.mean), asked.y.push_back(gain_ * rung.in.mean);
  }
  f.curves = {measured, asked};
  add_mark(f, "limit", 'y', rate_limit());
  add_mark(f, "followed up to", 'x', followed_rate());
  return f;
}

Finding Following::missing(const std::string& name, const std::string& why) const {
  for (const auto& kind : following_score().entry.findings)
    if (kind.name == name)
      return pair_frame(input_, "following", "")
          .missing(name, finding_unit(kind.unit, in_.unit, out_.unit), why, !input_.spans.empty());
  return pair_frame(input_, "following", "").missing(name, "1", why);
}

ScoreResult Following::run() const {
  ScoreResult result;
  std::string why = input_.spans.empty() ? "no complete step to score" : "";
  if (why.empty() && rungs_.size() < 2)
    why = trouble_.empty() ? "needs two steps or more, each with sweeps at one rate" : trouble_;
  if (!why.empty()) {
    for (const auto& kind : following_score().entry.findings) result.findings.push_back(missing(kind.name, why));
    return result;
  }
  for (const auto& rung : rungs_) {
    result.findings.push_back(share_of(rung));
    result.findings.push_back(error_of(rung));
  }
  result.findings.push_back(rate_limit());
  result.findings.push_back(followed_rate());
  result.figures.push_back(figure());
  return result;
}

}  // namespace

ScoreKind following_score() {
  ScoreKind score;
  score.entry.settings = kind("following", following_fields);
  score.entry.roles = {{"input", "what is swept to and fro, such as the bench's angle sensor at the hand wheel"},
                       {"output", "what follows, such as the bench's angle sensor at the road wheel"}};
  score.entry.findings = {
      {"share", "%", "rate of the output, of what the input asks by the slowest step's gain; one for each step"},
      {"error", "output", "how far the output is behind over the last tenth of a sweep; one for each step"},
      {"rate_limit", "output/s", "rate of the output where it no longer follows"},
      {"followed_rate", "input/s", "greatest rate of the input that is followed"}};
  score.run = [](const ScoreInput& input) { return Following{input}.run(); };
  return score;
}

}  // namespace trackrod
