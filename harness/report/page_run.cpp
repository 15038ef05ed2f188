#include <algorithm>
#include <cctype>
#include <cmath>

#include "harness/base/units.hpp"
#include "harness/report/page.hpp"
#include "harness/report/svg.hpp"
#include "harness/report/text.hpp"

namespace trackrod::page {
namespace {

// The date at the start of an ISO 8601 text, empty when there is none.
std::string day_of(const std::string& text) {
  const auto day = text.substr(0, 10);
  if (day.size() != 10) return "";
  for (std::size_t i = 0; i < day.size(); ++i)
    if (i == 4 || i == 7 ? day[i] != '-' : !std::isdigit(static_cast<unsigned char>(day[i]))) return "";
  return day;
}

// Valid on its due day, lapsed from the next: ISO dates sort as text.
bool lapsed(const SignalInfo& signal, const std::string& run_day) {
  return !run_day.empty() && !signal.calibration.due.empty() && signal.calibration.due < run_day;
}

// A plain number (a state, a count) is read, not measured.
bool needs_calibration(const SignalInfo& signal) {
  return signal.direction == Direction::read && signal.bench_owned && signal.unit != "1" && signal.unit != "count";
}

std::string calibration_state(const SignalInfo& signal, const std::string& run_day) {
  if (signal.calibration.date.empty())
    return needs_calibration(signal) ? "NEVER CALIBRATED"
           : signal.bench_owned      ? "nothing to calibrate"
                                     : "by the unit itself";
  if (lapsed(signal, run_day)) return "LAPSED before this run";
  if (signal.calibration.due.empty()) return "no due date";
  return run_day.empty() ? "cannot tell: date of the run unknown" : "valid on the day of the run";
}

Figure lateness_figure(const TimingQuality& t) {
  Figure figure;
  figure.title = "Lateness of the loop's ticks";
  figure.x_label = "late / µs";
  figure.y_label = "ticks (decades)";
  figure.y_log = true;
  Curve bars;
  bars.style = Curve::Style::bars;
  const double bin = seconds(t.late_bin) * 1e6;
  std::size_t used = t.late_histogram.size();
  while (used > 0 && t.late_histogram[used - 1] == 0) --used;
  for (std::size_t i = 0; i < used; ++i) {
    bars.x.push_back((static_cast<double>(i) + 0.5) * bin);
    bars.y.push_back(static_cast<double>(t.late_histogram[i]));
  }
  figure.curves.push_back(std::move(bars));
  figure.marks = {{"half", 'x', seconds(t.late_p50) * 1e6, bin}, {"99 %", 'x', seconds(t.late_p99) * 1e6, bin}};
  return figure;
}

std::string count_of(std::size_t n, const std::string& one, const std::string& many) {
  return std::to_string(n) + " " + (n == 1 ? one : many);
}

std::string clock_text(Duration since_start) {
  const double s = seconds(since_start);
  return fixed(s, 3) + " s";
}

}  // namespace

namespace {

std::string skews(const Report& report) {
  std::vector<std::vector<std::string>> rows;
  for (const auto& s : report.signals)
    if (const auto& k = s.skew; !k.against.empty())
      rows.push_back({escaped(s.name), escaped(k.against), escaped(shown(1e3 * seconds(k.value), 4) + " ms"),
                      escaped(shown(1e3 * seconds(k.uncertainty), 2) + " ms"), escaped(k.date), escaped(k.due),
                      escaped(k.used)});
  if (rows.empty()) return "";
  return section("Measured skews",
                 table({"signal", "later than", "by", "standard uncertainty", "measured", "due", "with"}, rows, ""));
}

bool lapsed(const EquipmentLine& e, const std::string& day) { return !day.empty() && !e.due.empty() && e.due < day; }

std::string fixture(const RunFacts& f) {
  std::vector<std::vector<std::string>> rows;
  for (const auto& e : f.equipment)
    rows.push_back({escaped(e.name), escaped(e.what), escaped(e.serial), escaped(e.certificate),
                    lapsed(e, day_of(f.started)) ? element("strong", e.due + ", lapsed") : escaped(e.due)});
  return (f.clamped.empty() ? "" : section("How the unit was held", facts_table(f.clamped))) +
         (f.measures.empty() ? "" : section("Figures of the rig", facts_table(f.measures))) +
         (f.wires.empty() ? "" : section("Wires that relays switch", facts_table(f.wires))) +
         (rows.empty()
              ? ""
              : section("Equipment", table({"name", "what", "serial number", "certificate", "due"}, rows, "")));
}

}  // namespace

std::string calibrations(const Report& report) {
  const auto day = day_of(report.facts.started);
  std::vector<std::vector<std::string>> rows;
  for (const auto& s : report.signals) {
    if (s.direction != Direction::read) continue;
    const auto& c = s.calibration;
    const auto state = calibration_state(s, day);
    const bool bad = lapsed(s, day) || (c.date.empty() && needs_calibration(s));
    rows.push_back({escaped(s.name), escaped(s.location), s.bench_owned ? "bench" : "unit",
                    c.date.empty() ? "" : escaped(shown(c.standard_uncertainty, 3) + " " + s.unit), escaped(c.date),
                    escaped(c.due), escaped(c.certificate), bad ? element("strong", state) : escaped(state)});
  }
  return section("Calibration of what was read", table({"signal", "where", "owner", "standard uncertainty",
                                                        "calibrated", "due", "certificate", "state"},
                                                       rows, "The recording names no signal that was read.")) +
         skews(report) + fixture(report.facts);
}

std::string timing(const TimingQuality& t) {
  if (t.ticks == 0)
    return section("Timing of the run", element("p", "No tick of the loop was recorded, so nothing is claimed of it."));
  const auto row = [](const std::string& what, const std::string& value, const std::string& bounds) {
    return std::vector<std::string>{escaped(what), element("span", value, "number"), escaped(bounds)};
  };
  const double share = 100.0 * static_cast<double>(t.missed) / static_cast<double>(t.ticks + t.missed);
  const auto three = [](Duration a, Duration b, Duration c) {
    return span_text(a) + " / " + span_text(b) + " / " + span_text(c);
  };
  auto out =
      table({"", "measured", "what it bounds"},
            {row("period of the loop", span_text(t.tick), "An input waits up to this long before the loop sees it."),
             row("ticks that ran", std::to_string(t.ticks), ""),
             row("ticks missed", std::to_string(t.missed) + " (" + shown(share, 2) + " %)",
                 "In a missed tick no setpoint was worked out and no interlock was looked at."),
             row("late, half / 99 % / greatest", three(t.late_p50, t.late_p99, t.late_max),
                 "How long after its due time a tick began: setpoints went out no earlier than that."),
             row("work, half / 99 % / greatest", three(t.work_p50, t.work_p99, t.work_max),
                 "From wake-up to setpoints handed to the system: the harness's own share of a reaction."),
             row("oldest input when used", span_text(t.input_age_max),
                 "Interlocks and conditions saw values up to this old.")},
            "");
  if (!t.late_histogram.empty()) out += wrap("figure", draw_svg(lateness_figure(t), {720, 260}));
  return section("Timing of the run", out);
}

std::string gaps(const Report& report) {
  std::vector<std::vector<std::string>> rows;
  for (const auto& g : report.gaps)
    rows.push_back(
        {clock_text(g.from - report.begin), clock_text(g.to - report.begin), std::to_string(g.count), escaped(g.why)});
  return section("Gaps and losses of the recording",
                 table({"from", "to", "records lost", "why"}, rows,
                       "None was found: every record that was written could be read."));
}

std::string trip(const RunFacts& facts) {
  if (!facts.trip) return "";
  const auto& t = *facts.trip;
  auto out = element("p", t.words + ".");
  if (t.figure) out += wrap("figure", draw_svg(*t.figure, {720, 260}));
  out += element("p", count_of(t.complete, "step", "steps") + " of " + std::to_string(t.steps) +
                          " had been completed and stay valid" +
                          (t.cut.empty() ? "" : "; '" + t.cut + "' was cut short, and nothing is taken from it") + ".");
  if (!t.go_on.empty()) out += element("p", "To go on: " + t.go_on);
  return section("The trip", out);
}

std::string run_facts(const Report& report) {
  const auto& f = report.facts;
  auto out = facts_table({{"run", f.run},
                          {"started", f.started},
                          {"duration", f.duration > Duration::zero() ? span_text(f.duration) : ""},
                          {"how it ended", f.ending},
                          {"goes on after", f.after.empty() ? "no other run" : f.after},
                          {"technician", f.technician},
                          {"unit", f.unit},
                          {"unit serial", f.unit_serial},
                          {"about the unit", f.unit_description},
                          {"plan", f.plan},
                          {"plan file", f.plan_file},
                          {"about the plan", f.plan_description},
                          {"bench", f.bench},
                          {"bench file", f.bench_file},
                          {"software", f.software}});
  if (!f.host.empty()) out += element("h3", "Host") + facts_table(f.host);
  if (!f.identities.empty()) out += element("h3", "What the devices said of themselves") + facts_table(f.identities);
  if (!f.faults_before.empty()) out += element("h3", "Fault memory before the steps") + facts_table(f.faults_before);
  if (!f.faults_after.empty()) out += element("h3", "Fault memory after the steps") + facts_table(f.faults_after);
  if (!f.hashes.empty()) {
    std::vector<std::vector<std::string>> rows;
    for (const auto& [file, hash] : f.hashes) rows.push_back({escaped(file), element("code", hash)});
    out += element("h3", "Content hashes") + table({"file", "hash"}, rows, "");
  }
  out += element("h3", "Deviations and notes") +
         (f.deviations.empty() ? element("p", "None was recorded.") : bullet_list(f.deviations));
  return section("The run", out);
}

std::string events(const std::vector<EventLine>& events) {
  std::vector<std::vector<std::string>> rows;
  for (const auto& e : events) rows.push_back({element("span", clock_text(e.at), "number"), escaped(e.words)});
  return section("Events",
                 wrap("details", element("summary", count_of(events.size(), "event", "events")) +
                                     table({"after the start", "what happened"}, rows, "No event was recorded.")));
}

std::vector<std::string> found_cautions(const Report& report) {
  std::vector<std::string> out;
  const auto day = day_of(report.facts.started);
  if (day.empty()) out.push_back("The date of the run is unknown, so nobody can tell which calibrations were valid.");
  for (const auto& s : report.signals) {
    if (lapsed(s, day))
      out.push_back("The calibration of '" + s.name + "' was due on " + s.calibration.due +
                    " and had lapsed when the run was made.");
    if (!day.empty() && !s.skew.due.empty() && s.skew.due < day)
      out.push_back("The skew of '" + s.name + "' against '" + s.skew.against + "' was due on " + s.skew.due +
                    " and had lapsed when the run was made.");
    if (needs_calibration(s) && s.calibration.date.empty())
      out.push_back("'" + s.name + "' measures for the bench and was never calibrated.");
  }
  for (const auto& e : report.facts.equipment)
    if (lapsed(e, day))
      out.push_back("The calibration of the equipment '" + e.name + "' was due on " + e.due +
                    " and had lapsed when the run was made.");
  if (report.timing.missed > 0)
    out.push_back("The loop missed " + count_of(report.timing.missed, "tick", "ticks") +
                  "; see the timing of the run.");
  std::uint64_t lost = 0;
  for (const auto& g : report.gaps) lost += g.count;
  if (!report.gaps.empty())
    out.push_back("The recording has " + count_of(report.gaps.size(), "gap", "gaps") + " (" +
                  count_of(lost, "record", "records") + " lost); see below.");
  return out;
}

}  // namespace trackrod::page
