#include "harness/score/decision.hpp"

#include <boost/math/distributions/normal.hpp>
#include <cmath>

namespace trackrod {
namespace {

double lowest(const Limit& limit) {
  return limit.kind == Limit::Kind::at_most ? -std::numeric_limits<double>::infinity() : limit.low;
}
double highest(const Limit& limit) {
  return limit.kind == Limit::Kind::at_least ? std::numeric_limits<double>::infinity() : limit.high;
}

Verdict guarded_verdict(double low_end, double high_end, const Limit& limit) {
  if (low_end >= lowest(limit) && high_end <= highest(limit)) return Verdict::pass;
  if (low_end > highest(limit) || high_end < lowest(limit)) return Verdict::fail;
  return Verdict::inconclusive;
}

void add_reason(Finding& finding, const std::string& reason) {
  finding.reason += (finding.reason.empty() ? "" : "; ") + reason;
}

}  // namespace

std::string rule_name(Rule rule) { return rule == Rule::guarded ? "guarded" : "simple"; }

std::string verdict_name(Verdict verdict) {
  switch (verdict) {
    case Verdict::pass:
      return "pass";
    case Verdict::fail:
      return "fail";
    case Verdict::inconclusive:
      return "inconclusive";
    case Verdict::not_run:
      return "not run";
    case Verdict::invalid:
      return "invalid";
  }
  return "not run";
}

void judge(Finding& finding, const Limit& limit, Rule rule, const std::string& requirement) {
  finding.limit = limit;
  finding.rule = rule_name(rule);
  finding.requirement = requirement;
  finding.judged = true;
  if (!finding.value) return;
  if (!std::isfinite(*finding.value)) {
    finding.verdict = Verdict::inconclusive;
    return add_reason(finding, "the value is not a finite number");
  }
  if (rule == Rule::simple) {
    finding.verdict = guarded_verdict(*finding.value, *finding.value, limit);
    return;
  }
  if (!finding.interval || !std::isfinite((*finding.interval)[0]) || !std::isfinite((*finding.interval)[1])) {
    finding.verdict = Verdict::inconclusive;
    return add_reason(finding, "no uncertainty is known, so a guarded decision cannot be made");
  }
  finding.verdict = guarded_verdict((*finding.interval)[0], (*finding.interval)[1], limit);
  if (finding.verdict == Verdict::inconclusive) add_reason(finding, "the interval lies across the limit");
}

void invalidate(std::vector<Finding>& findings, const std::vector<std::string>& why) {
  if (why.empty()) return;
  std::string all;
  for (const auto& reason : why) all += (all.empty() ? "" : "; ") + reason;
  for (auto& finding : findings) {
    if (!finding.judged) continue;
    add_reason(finding,
               "the run is invalid: " + all + "; its value alone would give '" + verdict_name(finding.verdict) + "'");
    finding.verdict = Verdict::invalid;
  }
}

double probability_of_conformity(double value, double standard_uncertainty, const Limit& limit) {
  if (!(standard_uncertainty > 0.0)) return value >= lowest(limit) && value <= highest(limit) ? 1.0 : 0.0;
  const boost::math::normal standard;
  const auto below = [&](double bound) {
    if (std::isinf(bound)) return bound > 0 ? 1.0 : 0.0;
    return boost::math::cdf(standard, (bound - value) / standard_uncertainty);
  };
  return below(highest(limit)) - below(lowest(limit));
}

}  // namespace trackrod
