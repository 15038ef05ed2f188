#include "harness/cli/evaluate.hpp"

#include <algorithm>
#include <atomic>
#include <cmath>
#include <future>
#include <thread>

#include "harness/base/units.hpp"
#include "harness/score/decision.hpp"
#include "harness/score/scoring.hpp"

namespace trackrod {
namespace {

std::vector<Span> spans_of(const CaptureView& capture, const std::vector<std::string>& steps) {
  std::vector<Span> out;
  for (const auto& span : capture.spans())
    if (span.complete && span.kept && std::find(steps.begin(), steps.end(), span.step) != steps.end())
      out.push_back(span);
  return out;
}

std::size_t repetitions(const std::vector<Span>& spans, const std::vector<std::string>& steps) {
  auto least = spans.size();
  for (const auto& step : steps)
    least = std::min(least, static_cast<std::size_t>(std::ranges::count(spans, step, &Span::step)));
  return least;
}

// What a signal was during the spans: its mean, or the range of the means when they differ.
std::string shown_condition(const CaptureView& capture, SignalIndex signal, const std::vector<Span>& spans) {
  double low = INFINITY, high = -INFINITY;
  for (const auto& span : spans) {
    const auto points = capture.points(signal, span.from, span.to);
    if (!points) continue;
    double sum = 0.0;
    std::size_t n = 0;
    for (const auto& p : *points)
      if (std::isfinite(p.value)) sum += p.value, ++n;
    if (n == 0) continue;
    low = std::min(low, sum / static_cast<double>(n));
    high = std::max(high, sum / static_cast<double>(n));
  }
  const auto& unit = capture.signals()[signal].unit;
  if (low > high) return "not recorded";
  if (shown(low, 3) == shown(high, 3)) return shown(low, 3) + " " + unit;
  return shown(low, 3) + " to " + shown(high, 3) + " " + unit;
}

std::string joined(const std::vector<std::string>& names) {
  std::string text;
  for (const auto& n : names) text += (text.empty() ? "" : ", ") + n;
  return text;
}

Limit limit_of(const LimitSpec& spec) {
  switch (spec.kind) {
    case LimitKind::at_most:
      return {Limit::Kind::at_most, spec.low, spec.high};
    case LimitKind::at_least:
      return {Limit::Kind::at_least, spec.low, spec.high};
    case LimitKind::within:
      return {Limit::Kind::within, spec.low, spec.high};
  }
  return {};
}

Rule rule_of(DecisionRule rule) { return rule == DecisionRule::guarded ? Rule::guarded : Rule::simple; }

Finding missing(const LimitSpec& limit, const std::string& reason) {
  Finding f;
  f.name = limit.finding;
  f.unit = limit.unit;
  f.reason = reason;
  judge(f, limit_of(limit), rule_of(limit.rule), limit.requirement);
  return f;
}

// "12 of 4711", where samples of the others were left out; empty: all of them are there.
std::string kept_of(const CaptureView& capture, const std::vector<std::string>& steps) {
  std::size_t kept = 0, all = 0;
  for (const auto& span : capture.spans()) {
    if (!span.complete || std::ranges::find(steps, span.step) == steps.end()) continue;
    ++all;
    kept += span.kept ? 1 : 0;
  }
  return kept == all ? "" : std::to_string(kept) + " of " + std::to_string(all);
}

class Evaluator {
 public:
  Evaluator(const Plan& plan, const CaptureView& capture) : plan_{plan}, capture_{capture} {}

  // `cycles`: what is known of the criterion's cycles already.
  void add(const Criterion& criterion, std::span<const CycleValue> cycles, Evaluation& all) const {
    const auto spans = spans_of(capture_, criterion.steps);
    add_findings(criterion, spans, cycles, all);
    all.scored.push_back({all.findings.size(), all.figures.size(), repetitions(spans, criterion.steps)});
  }

 private:
  void add_findings(const Criterion& criterion, const std::vector<Span>& spans, std::span<const CycleValue> cycles,
                    Evaluation& all) const {
    if (const auto why = absence(criterion, spans); !why.empty()) return add_absent(criterion, why, all);
    const ScoreInput input{capture_, spans, criterion.signals, criterion.settings, cycles};
    auto scored = run_score(criterion.score, input);
    ScoreResult result;
    if (scored) result = std::move(*scored);
    judge_all(result.findings, criterion, scored ? "the score gave no such finding" : scored.error().context);
    for (auto& finding : result.findings) {
      complete(finding, criterion, spans);
      all.findings.push_back(std::move(finding));
    }
    std::move(result.figures.begin(), result.figures.end(), std::back_inserter(all.figures));
  }

  // Why a recording made elsewhere holds nothing for the criterion.
  std::string absence(const Criterion& criterion, const std::vector<Span>& spans) const {
    if (!criterion.absent.empty()) return "the recording has no signal '" + criterion.absent.front() + "'";
    if (!plan_.of_recording || criterion.signals.empty() || !spans.empty()) return "";
    return "no span of the recording is named " + one_of(criterion.steps);
  }

  // Without limits too the criterion was asked for, and is told as not run.
  void add_absent(const Criterion& criterion, const std::string& why, Evaluation& all) const {
    std::vector<Finding> findings;
    for (const auto& limit : criterion.limits) findings.push_back(missing(limit, why));
    if (findings.empty()) {
      auto& f = findings.emplace_back();
      f.name = criterion.score;
      f.reason = why;
      f.judged = true;
    }
    for (auto& finding : findings) {
      for (const auto& name : criterion.absent) finding.signals.push_back(name);
      complete(finding, criterion, {});
      all.findings.push_back(std::move(finding));
    }
  }

  void complete(Finding& finding, const Criterion& criterion, const std::vector<Span>& spans) const {
    if (finding.step.empty()) finding.step = joined(criterion.steps);
    if (finding.signals.empty())
      for (const auto& [role, signal] : criterion.signals) finding.signals.push_back(capture_.signals()[signal].name);
    for (const auto signal : criterion.conditions)
      finding.conditions.emplace_back(capture_.signals()[signal].name, shown_condition(capture_, signal, spans));
    for (const auto& name : criterion.absent_conditions) finding.conditions.emplace_back(name, "not recorded");
    if (const auto kept = kept_of(capture_, criterion.steps); !kept.empty() && !criterion.by_cycle)
      finding.conditions.emplace_back("spans kept", kept);
    for (const auto& [axis, mode] : plan_.control) finding.conditions.emplace_back(axis, control_mode_name(mode));
  }

  const Plan& plan_;
  const CaptureView& capture_;
};

}  // namespace

void judge_all(std::vector<Finding>& findings, const Criterion& criterion, const std::string& why) {
  for (const auto& limit : criterion.limits) {
    bool found = false;
    for (auto& finding : findings) {
      if (finding.name != limit.finding) continue;
      judge(finding, limit_of(limit), rule_of(limit.rule), limit.requirement);
      found = true;
    }
    if (!found) findings.push_back(missing(limit, why));
  }
}

Evaluation evaluate(const Plan& plan, const CaptureView& capture, const std::vector<std::string>& invalid,
                    const CycleBook& book) {
  Evaluation all;
  const Evaluator evaluator{plan, capture};
  // Criteria know nothing of each other: as many at once as the machine has processors, told in their order.
  std::vector<Evaluation> each(plan.criteria.size());
  std::atomic<std::size_t> next{0};
  const auto work = [&] {
    for (std::size_t i = next++; i < each.size(); i = next++)
      evaluator.add(plan.criteria[i], i < book.size() ? std::span{book[i]} : std::span<const CycleValue>{}, each[i]);
  };
  std::vector<std::future<void>> others;
  const auto processors = std::max(1U, std::thread::hardware_concurrency());
  for (unsigned i = 1; i < processors && i < each.size(); ++i) others.push_back(std::async(std::launch::async, work));
  work();
  for (auto& other : others) other.get();
  for (auto& one : each) {
    std::move(one.findings.begin(), one.findings.end(), std::back_inserter(all.findings));
    std::move(one.figures.begin(), one.figures.end(), std::back_inserter(all.figures));
    std::move(one.scored.begin(), one.scored.end(), std::back_inserter(all.scored));
  }
  invalidate(all.findings, invalid);
  return all;
}

}  // namespace trackrod
