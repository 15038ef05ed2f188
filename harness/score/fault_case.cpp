#include "harness/score/fault_case.hpp"

#include <algorithm>
#include <cmath>

#include "harness/score/findings.hpp"
#include "harness/score/series.hpp"

namespace trackrod {
namespace {

class SpanReader {
 public:
  SpanReader(const ScoreInput& input, const DegradedSettings& settings, const Span& span)
      : input_{input}, settings_{settings}, span_{span}, length_{seconds(span.to - span.from)} {
    output_ = series("output");
    trouble_ = output_.trouble;
    if (trouble_.empty()) trouble_ = silent_noise(output_, name("output"));
    if (given("reference")) {
      reference_ = series("reference");
      // One that was held may keep one value to the last digit.
      if (!reference_.trouble.empty() && (reference_.size() == 0 || reference_.span() > 0.0))
        trouble_ = trouble_.empty() ? reference_.trouble : trouble_;
    }
    if (given("warning") && !settings.right.empty() && !settings.none.empty())
      warning_ = read_shown(input, "warning", span, [&](double v) {
        const auto is = [v](const std::vector<double>& values) {
          return std::any_of(values.begin(), values.end(), [v](double w) { return std::abs(v - w) < 0.5; });
        };
        return is(settings.none) ? Shown::none : is(settings.right) ? Shown::right : Shown::wrong;
      });
    if (given("detection") && !settings.detected.empty())
      detection_ = read_shown(input, "detection", span, [&](double v) {
        return v >= settings.detected[0] && v <= settings.detected[1] ? Shown::right : Shown::none;
      });
  }

  void read(FaultCases& all) const {
    if (given("input") && settings_.healthy.empty()) {
      all.trouble = "no \"healthy\" in the plan tells when '" + name("input") + "' shows a fault";
      return;
    }
    const auto stretches = given("input") ? faults_in(input_, "input", span_,
                                                      {settings_.healthy[0], settings_.healthy[1], settings_.bounce})
                                          : faults_made_in(input_.capture, span_);
    if (stretches.found.empty()) {
      if (all.trouble.empty()) all.trouble = "the fault did not take: " + stretches.trouble;
      if (warning_ && !warning_->shown.empty())
        all.shown_without = all.shown_without.value_or(0) + times_shown(*warning_);
    } else if (all.early.empty()) {
      all.early = stretches.trouble;
    }
    for (std::size_t k = 0; k < stretches.found.size(); ++k) {
      const auto* last = k > 0 ? &stretches.found[k - 1] : nullptr;
      const double until = k + 1 < stretches.found.size() ? stretches.found[k + 1].begin.earliest() : length_;
      all.found.push_back(one(stretches.found[k], last != nullptr ? last->end->latest() : 0.0, until));
    }
  }

 private:
  bool given(const std::string& role) const { return input_.signal(role) < input_.capture.signals().size(); }
  const std::string& name(const std::string& role) const { return input_.capture.signals()[input_.signal(role)].name; }
  Series series(const std::string& role) const {
    return read_series(input_.capture, input_.signal(role), span_.from, span_.to, span_.from);
  }

  FaultCase one(const FaultStretch& fault, double since, double until) const {
    FaultCase c;
    c.fault = fault;
    c.until = until;
    if (warning_) c.warning = warning_of(*warning_, fault, since, until);
    if (detection_) c.detection = warning_of(*detection_, fault, since, until);
    c.output_interval = output_.interval;
    c.effect.trouble = trouble_;
    if (!trouble_.empty()) {
      for (auto* line : {&c.before, &c.during, &c.after}) line->trouble = trouble_;
      return c;
    }
    const double settle = seconds(settings_.settle), onset = fault.begin.earliest();
    const std::string none = "no signal plays the role 'reference'";
    c.before.trouble = c.during.trouble = c.after.trouble = none;
    if (given("reference")) c.before = fit_lagged_line(reference_, output_, since > 0.0 ? since + settle : 0.0, onset);
    read_effect(c);
    if (!given("reference")) return c;
    const double in_hand = c.effect.in_hand ? c.effect.in_hand->latest() : fault.begin.latest();
    c.during = fit_lagged_line(reference_, output_, in_hand + settle, c.end(), c.before.play);
    c.after.trouble = "the fault was not cleared within the steps";
    if (fault.end) c.after = fit_lagged_line(reference_, output_, fault.end->latest() + settle, until, c.before.play);
    return c;
  }

  void read_effect(FaultCase& c) const {
    const double hold = seconds(settings_.hold);
    c.output_noise = output_.noise;
    if (settings_.safe.size() == 2) {
      const EffectRule rule{settings_.safe[0], settings_.safe[1], false, hold};
      c.effect = effect_of(output_, reference_, c.before, c.fault, c.end(), rule);
      return;
    }
    if (settings_.tolerance <= 0.0) {
      c.effect.trouble = "neither \"safe\" nor \"tolerance\" is given";
      return;
    }
    c.effect.trouble = c.before.trouble;
    if (!c.effect.trouble.empty()) return;
    if (c.before.held) {
      const auto first = reference_.y.begin() + static_cast<std::ptrdiff_t>(reference_.from(c.fault.begin.earliest()));
      const auto last = reference_.y.begin() + static_cast<std::ptrdiff_t>(reference_.from(c.end()));
      if (first != last && *std::max_element(first, last) - *std::min_element(first, last) > 10.0 * reference_.noise) {
        c.effect.trouble =
            "the reference stood still before the fault and moved in it: nothing tells what the output "
            "should have done";
        return;
      }
    }
    c.output_noise = std::hypot(output_.noise, c.before.gain * reference_.noise);
    const EffectRule rule{-settings_.tolerance, settings_.tolerance, true, hold};
    c.effect = effect_of(output_, reference_, c.before, c.fault, c.end(), rule);
  }

  const ScoreInput& input_;
  const DegradedSettings& settings_;
  const Span& span_;
  double length_;  // s
  Series output_, reference_;
  std::optional<ShownTrack> warning_, detection_;
  std::string trouble_;  // of output or reference
};

}  // namespace

FaultCases read_fault_cases(const ScoreInput& input, const DegradedSettings& settings) {
  FaultCases all;
  for (const auto& span : joined(input.spans, input.capture.timing().tick)) SpanReader{input, settings, span}.read(all);
  if (all.found.empty() && all.trouble.empty()) all.trouble = "no complete step to score";
  return all;
}

}  // namespace trackrod
