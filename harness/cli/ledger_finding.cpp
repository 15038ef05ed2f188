#include "harness/cli/ledger_finding.hpp"

#include <cmath>

#include "harness/report/findings_json.hpp"

namespace trackrod {

LedgerFinding to_ledger(const Finding& f) {
  LedgerFinding out;
  out.name = f.name;
  out.step = f.step;
  out.signals = f.signals;
  out.conditions = f.conditions;
  out.value = f.value;
  out.unit = f.unit;
  out.standard_uncertainty = f.standard_uncertainty;
  if (f.interval) out.low = (*f.interval)[0], out.high = (*f.interval)[1];
  if (std::isfinite(f.coverage)) out.coverage = f.coverage;
  if (f.limit) {
    out.limit_kind = limit_kind_name(f.limit->kind);
    if (f.limit->kind != Limit::Kind::at_most) out.limit_low = f.limit->low;
    if (f.limit->kind != Limit::Kind::at_least) out.limit_high = f.limit->high;
  }
  out.rule = f.rule;
  out.requirement = f.requirement;
  if (f.judged) out.verdict = verdict_name(f.verdict);
  out.reason = f.reason;
  return out;
}

Finding from_ledger(const LedgerFinding& f) {
  Finding out;
  out.name = f.name;
  out.step = f.step;
  out.signals = f.signals;
  out.conditions = f.conditions;
  out.value = f.value;
  out.unit = f.unit;
  out.standard_uncertainty = f.standard_uncertainty;
  if (f.low && f.high) out.interval = {*f.low, *f.high};
  out.coverage = f.coverage.value_or(std::nan(""));
  if (const auto kind = limit_kind_named(f.limit_kind))
    out.limit = Limit{*kind, f.limit_low.value_or(0.0), f.limit_high.value_or(0.0)};
  out.rule = f.rule;
  out.requirement = f.requirement;
  if (const auto verdict = verdict_named(f.verdict)) {
    out.verdict = *verdict;
    out.judged = true;
  }
  out.reason = f.reason;
  return out;
}

}  // namespace trackrod
