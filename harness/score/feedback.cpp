// The score `feedback`: how a force at the rack comes back as torque at the hand wheel. docs/scores/feedback.md.

#include <algorithm>
#include <cmath>

#include "harness/score/budget.hpp"
#include "harness/score/figure.hpp"
#include "harness/score/findings.hpp"
#include "harness/score/scores.hpp"
#include "harness/score/scoring.hpp"
#include "harness/score/step_cycle.hpp"
#include "harness/score/step_figure.hpp"

namespace trackrod {
namespace {

struct FeedbackSettings {
  std::vector<double> frequencies;  // Hz
  std::vector<std::string> drops;   // names of steps
  Duration quiet{from_seconds(0.1)};
};

const Fields<FeedbackSettings>& feedback_fields() {
  static const auto fields =
      Fields<FeedbackSettings>{"score",
                               "What of a force at the rack comes back to the hand: how much, how late, how smooth"}
          .need("frequencies", &FeedbackSettings::frequencies, list(quantity("Hz", 1e-3, 500.0), 1, 50),
                "where the answer to the force is read; the lowest one is what the others are compared with")
          .may("drops", &FeedbackSettings::drops, list(word(), 1),
               "those of the steps in which the force falls off at once, as when the tyres lose their grip; the others "
               "are "
               "motions of the force through the frequencies, from rest to rest")
          .may("quiet", &FeedbackSettings::quiet, duration(from_seconds(0.01), from_seconds(60.0)),
               "length at rest at either end of a drop from which its levels are taken; 100 ms when not given");
  return fields;
}

const std::string& condition_of(const Finding& f, const std::string& name) {
  static const std::string none;
  for (const auto& [key, value] : f.conditions)
    if (key == name) return value;
  return none;
}

class Feedback {
 public:
  explicit Feedback(const ScoreInput& input);
  ScoreResult run();

 private:
  void take_spectra();
  void take_drops();
  void add(const std::string& name, Finding finding);
  Finding missing(const std::string& name, const std::string& why) const;
  Finding let_through(const Finding& gain) const;
  std::string unit(const std::string& name) const;

  const ScoreInput& input_;
  const FeedbackSettings& settings_;
  std::vector<Span> motions_, drops_;
  std::optional<Finding> lowest_;  // gain at the lowest frequency
  ScoreResult result_;
};

Feedback::Feedback(const ScoreInput& input)
    : input_{input}, settings_{std::any_cast<const FeedbackSettings&>(input.settings)} {
  for (const auto& span : input.spans) {
    const bool drop = std::find(settings_.drops.begin(), settings_.drops.end(), span.step) != settings_.drops.end();
    (drop ? drops_ : motions_).push_back(span);
  }
}

std::string Feedback::unit(const std::string& name) const {
  const auto& signals = input_.capture.signals();
  for (const auto& kind : feedback_score().entry.findings)
    if (kind.name == name)
      return finding_unit(kind.unit, signals[input_.signal("input")].unit, signals[input_.signal("output")].unit);
  return "1";
}

Finding Feedback::missing(const std::string& name, const std::string& why) const {
  return pair_frame(input_, "feedback", "").missing(name, unit(name), why, !input_.spans.empty());
}

void Feedback::add(const std::string& name, Finding finding) {
  finding.name = "feedback." + name;
  result_.findings.push_back(std::move(finding));
}

// Of the gain at the lowest frequency: the sensors' calibration goes out, what both frequencies have of their own
// stays.
Finding Feedback::let_through(const Finding& gain) const {
  const double percent = 100.0 * *gain.value / *lowest_->value;
  std::vector<Contribution> budget;
  for (const auto* side : {&gain, &*lowest_})
    for (auto line : side->budget) {
      if (line.name.starts_with("calibration")) continue;
      line.name += " at " + condition_of(*side, "frequency");
      line.standard_uncertainty *= percent / *side->value;
      budget.push_back(std::move(line));
    }
  Frame frame = pair_frame(input_, "feedback", gain.step);
  frame.conditions = gain.conditions;
  frame.conditions.emplace_back("of_gain_at", condition_of(*lowest_, "frequency"));
  return frame.measured("let_through", "%", percent, std::move(budget));
}

// The answer over the frequencies is that of the score `frequency`.
void Feedback::take_spectra() {
  const auto refuse = [&](const std::string& why) {
    for (const auto* name : {"gain", "delay", "let_through"}) result_.findings.push_back(missing(name, why));
  };
  if (motions_.empty())
    return refuse(input_.spans.empty()
                      ? "no complete step to score"
                      : "all steps are named under 'drops': none is left in which the force moves through "
                        "the frequencies");
  const auto names = frequency_score();
  std::any settings;
  // Its settings by its own table, so that their defaults stand in one place.
  Problems problems;
  std::string text = R"({"frequencies": [)";
  for (std::size_t i = 0; i < settings_.frequencies.size(); ++i)
    text += (i > 0 ? ", " : "") + std::string{"\""} + std::to_string(settings_.frequencies[i]) + " Hz\"";
  const auto node = parse_json(text + "]}", "feedback", problems);
  if (!node || !names.entry.settings.read(*node, "score", settings, problems))
    return refuse("the frequencies cannot be read");
  auto scored = names.run(ScoreInput{input_.capture, motions_, input_.signals, settings});
  result_.figures = std::move(scored.figures);
  bool delayed = false;
  std::vector<Finding> gains;
  for (auto& f : scored.findings) {
    if (f.name == "frequency.gain") gains.push_back(f);
    if (f.name != "frequency.group_delay" || delayed) continue;
    delayed = true;  // findings come with the lowest frequency first
    add("delay", std::move(f));
  }
  if (!gains.empty() && gains.front().value) lowest_ = gains.front();
  for (auto& gain : gains) {
    if (lowest_ && gain.value)
      result_.findings.push_back(let_through(gain));
    else
      result_.findings.push_back(missing("let_through", gain.value ? gains.front().reason : gain.reason));
    add("gain", std::move(gain));
  }
}

void Feedback::take_drops() {
  const auto refuse = [&](const std::string& why) {
    for (const auto* name : {"loss_delay", "loss_depth"}) result_.findings.push_back(missing(name, why));
  };
  if (settings_.drops.empty()) return refuse("no step is named under 'drops'");
  if (drops_.empty()) return refuse("no complete step of those under 'drops'");
  for (const auto& [step, spans] : by_step(drops_)) {
    std::vector<StepCycle> cycles;
    for (const auto& span : spans) {
      auto c = read_step(input_, {2.0, settings_.quiet, {}}, span);
      c.readings["loss_delay"] = c.readings["delay_50"];
      auto& depth = c.readings["loss_depth"];
      if (c.trouble.empty() && lowest_) {
        const double in = c.in_last.value - c.in_first.value, out = c.out_last.value - c.out_first.value;
        const double asked = *lowest_->value * std::abs(in);
        depth.value = 100.0 * std::abs(out) / asked;
        depth.noise = *depth.value *
                      std::hypot(std::hypot(c.in_first.standard_uncertainty, c.in_last.standard_uncertainty) / in,
                                 std::hypot(c.out_first.standard_uncertainty, c.out_last.standard_uncertainty) / out);
        const double resolution = std::max(c.out_first.half_width, c.out_last.half_width) / std::abs(out);
        depth.common = {rectangular("resolution of the output", *depth.value * resolution),
                        type_b("gain at " + condition_of(*lowest_, "frequency"),
                               *depth.value * *lowest_->standard_uncertainty / *lowest_->value)};
      } else if (c.trouble.empty()) {
        depth.reason = "the gain at the lowest frequency is not known";
      }
      cycles.push_back(std::move(c));
    }
    const auto frame = pair_frame(input_, "feedback", step);
    const auto delay = mean_over_cycles(frame, "loss_delay", unit("loss_delay"), cycles);
    result_.findings.push_back(delay);
    result_.findings.push_back(mean_over_cycles(frame, "loss_depth", unit("loss_depth"), cycles));
    const auto good = std::find_if(cycles.begin(), cycles.end(), [](const StepCycle& c) { return c.trouble.empty(); });
    if (good == cycles.end()) continue;
    const auto& signals = input_.capture.signals();
    auto figure = step_figure("Step '" + step + "': force and torque from their old level (0) to their new one (1)",
                              *good, signals[input_.signal("input")], signals[input_.signal("output")],
                              10.0 * std::max(25.0, delay.value.value_or(0.0)));
    add_mark(figure, "torque at 50 %", 'x', delay);
    result_.figures.push_back(std::move(figure));
  }
}

ScoreResult Feedback::run() {
  take_spectra();
  take_drops();
  return std::move(result_);
}

}  // namespace

ScoreKind feedback_score() {
  ScoreKind score;
  score.entry.settings = kind("feedback", feedback_fields);
  score.entry.roles = {
      {"input", "the force, such as the bench's force sensor at the rack"},
      {"output", "the torque it makes, such as the bench's torque sensor at the hand wheel, held still"}};
  score.entry.findings = {
      {"gain", "output/input", "torque over force; one for each frequency"},
      {"delay", "ms", "group delay at the lowest frequency"},
      {"let_through", "%", "gain, of that at the lowest frequency; one for each frequency"},
      {"loss_delay", "ms", "torque at 50 % of its change, after the force's 50 % instant, when the force drops"},
      {"loss_depth", "%",
       "change of the torque when the force drops, of what the gain at the lowest frequency makes of it"}};
  score.run = [](const ScoreInput& input) { return Feedback{input}.run(); };
  return score;
}

}  // namespace trackrod
