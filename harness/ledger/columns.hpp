#pragma once
// Which member of an entry stands in which column: said once, for writing and for reading. `each(name, member)` is
// called for each column in turn. The columns of a key (place, run, scoring, number) are not among them.

namespace trackrod {

template <class Entry, class Each>
void run_columns(Entry& e, Each& each) {
  each("folder", e.folder);
  each("started", e.started);
  each("ended", e.ended);
  each("at", e.at);
  each("day", e.day);
  each("duration_s", e.duration_s);
  each("program", e.program);
  each("build", e.build);
  each("plan", e.plan);
  each("plan_hash", e.plan_hash);
  each("bench", e.bench);
  each("bench_hash", e.bench_hash);
  each("unit_name", e.unit_name);
  each("unit", e.unit);
  each("part_number", e.part_number);
  each("software", e.software);
  each("rehearsal", e.rehearsal);
  each("imported", e.imported);
  each("unattended", e.unattended);
  each("as_planned", e.as_planned);
  each("tripped", e.tripped);
  each("refused", e.refused);
  each("ending", e.ending);
  each("after_run", e.after);
  each("seal", e.seal);
}

template <class Finding, class Each>
void finding_columns(Finding& f, Each& each) {
  each("name", f.name);
  each("step", f.step);
  each("signals", f.signals);
  each("conditions", f.conditions);
  each("value", f.value);
  each("unit", f.unit);
  each("standard_uncertainty", f.standard_uncertainty);
  each("low", f.low);
  each("high", f.high);
  each("coverage", f.coverage);
  each("limit_kind", f.limit_kind);
  each("limit_low", f.limit_low);
  each("limit_high", f.limit_high);
  each("rule", f.rule);
  each("requirement", f.requirement);
  each("verdict", f.verdict);
  each("reason", f.reason);
}

}  // namespace trackrod
