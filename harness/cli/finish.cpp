#include "harness/cli/finish.hpp"

#include <spawn.h>
#include <sys/wait.h>

#include <algorithm>
#include <cerrno>
#include <iterator>

#include "harness/capture/archive.hpp"
#include "harness/capture/events.hpp"
#include "harness/capture/journal_capture.hpp"
#include "harness/cli/cycles_file.hpp"
#include "harness/cli/inspection.hpp"
#include "harness/cli/run_ledger.hpp"
#include "harness/cli/trip_facts.hpp"
#include "harness/cli/version.hpp"
#include "harness/report/findings_json.hpp"
#include "harness/report/html.hpp"
#include "harness/report/table.hpp"

extern char** environ;

namespace trackrod {
namespace {

std::string reason_of_trip(const std::vector<Event>& events, const StreamHeader& header) {
  for (const auto& e : events)
    if (e.kind == EventKind::tripped) return event_words(e, header);
  return "tripped";
}

// "to the plate, stiffness 900 Nm/rad"
std::string held(const ClampedPart& part) {
  const auto also = [](const std::string& what, const std::optional<Quantity>& q) {
    return q ? ", " + what + " " + shown(q->value) + " " + q->unit.text() : "";
  };
  return part.to + also("stiffness", part.stiffness) + also("inertia", part.inertia);
}

std::string in_words(const Quantity& q) { return shown(q.value) + " " + q.unit.text(); }

Facts measures_of(const FixtureSpec& fixture) {
  Facts facts;
  for (const auto& m : fixture.measures)
    facts.emplace_back(m.name, m.what + ": " + in_words(m.value) + ", standard uncertainty " + in_words(m.u));
  std::string curve;
  for (const auto& p : fixture.rack_curve)
    curve += (curve.empty() ? "" : "; ") + in_words(p.travel) + ": " + in_words(p.angle) + " (u " + in_words(p.u) + ")";
  if (!curve.empty()) facts.emplace_back("road wheel over rack", curve);
  return facts;
}

Facts wires_of(const Bench& bench) {
  Facts facts;
  for (const auto& w : bench.fixture.wires)
    facts.emplace_back(w.wire, w.where + "; '" + bench.signals[w.signal].info.name + "' closed: " + w.closed + "; " +
                                   (w.checked.empty() ? "never checked with the unit disconnected"
                                                      : "checked with the unit disconnected on " + w.checked));
  return facts;
}

// Of a night there would be too many to look at.
bool is_step_left_out(const Event& event, const CaptureView& capture) {
  if (event.kind != EventKind::step_started && event.kind != EventKind::step_ended) return false;
  const auto at = std::ranges::partition_point(capture.left_out(), [&](const LeftOut& l) { return l.to < event.when; });
  return at != capture.left_out().end() && at->from <= event.when;
}

RunFacts facts_of(const RunRecord& record, const Loaded& loaded, const CaptureView& capture,
                  const StreamHeader& header) {
  RunFacts f;
  f.run = record.id;
  f.plan = loaded.plan->name;
  f.plan_file = record.plan.front().path;
  f.plan_description = loaded.plan->description;
  f.bench = loaded.bench->name;
  f.bench_file = record.imported ? record.imported->description.front().path : record.bench.front().path;
  f.unit = loaded.bench->unit.name;
  f.unit_serial = loaded.bench->unit.serial;
  f.unit_description = loaded.bench->unit.description;
  for (const auto& part : loaded.bench->fixture.clamped) f.clamped.emplace_back(part.part, held(part));
  for (const auto& e : loaded.bench->fixture.equipment)
    f.equipment.push_back({e.name, e.what, e.serial, e.due, e.certificate});
  f.measures = measures_of(loaded.bench->fixture);
  f.wires = wires_of(*loaded.bench);
  f.technician = record.rehearsal ? "nobody; a rehearsal" : record.confirmed_by;
  if (!record.and_by.empty()) f.technician += "; agreed to by " + record.and_by;
  if (record.unattended) f.technician += "; nobody stayed at the bench";
  if (record.imported) {
    f.cautions.push_back("The recording was made elsewhere and imported from '" + record.imported->file + "' on " +
                         record.imported->when +
                         ". No plan was run: what is said of it rests on the description and the "
                         "spans among the events below.");
    f.hashes.emplace_back(record.imported->file, "sha256:" + record.imported->sha256);
    for (const auto& copy : record.imported->description) f.hashes.emplace_back(copy.file, "sha256:" + copy.sha256);
  }
  f.started = record.started;
  f.duration = from_seconds(record.duration_s);
  f.ending = record.tripped ? record.ending + ": " + reason_of_trip(capture.events(), header) : record.ending;
  f.ended_as_planned = record.as_planned;
  if (!record.after.empty()) f.after = "run " + record.after + ", with step '" + record.from + "'";
  f.trip = trip_facts(record, loaded, capture, header);
  f.rehearsal = record.rehearsal;
  f.software = (record.imported ? "imported by " : "recorded by ") + record.program + ", scored by " +
               std::string{program_version};
  f.host = record.host;
  for (const auto& [interlock, words] : record.proofs) f.host.emplace_back("interlock '" + interlock + "'", words);
  f.identities = record.identities;
  f.faults_before = record.faults_before;
  f.faults_after = record.faults_after;
  f.invalid = record.invalid;
  for (const auto* copies : {&record.bench, &record.plan})
    for (const auto& copy : *copies) f.hashes.emplace_back(copy.file, "sha256:" + copy.sha256);
  f.deviations = record.notes;
  for (const auto& [name, value] : record.set)
    f.deviations.push_back("set by the command line: " + name + " = " + value);
  if (!capture.left_out().empty())
    f.deviations.push_back(
        "steps of passes whose samples were left out are not among the events below; events.jsonl has them");
  for (const auto& event : capture.events())
    if (event.kind != EventKind::step_announced && event.kind != EventKind::clock_pair &&
        !is_step_left_out(event, capture))
      f.events.push_back({event.when - capture.begin(), event_words(event, header)});
  for (const auto& note : capture.notes()) {
    const bool by_device = note.device < header.devices.size();
    f.events.push_back(
        {note.when - capture.begin(), by_device ? "'" + header.devices[note.device] + "': " + note.text : note.text});
  }
  if (record.imported)
    for (const auto& span : capture.spans())
      f.events.push_back({span.from - capture.begin(),
                          "'" + span.step + "' from here on for " + shown(seconds(span.to - span.from), 4) + " s"});
  std::stable_sort(f.events.begin(), f.events.end(), [](const auto& a, const auto& b) { return a.at < b.at; });
  return f;
}

}  // namespace

// In a process of its own: the archive's library may not take the run down with it, and may not delay a bench.
Result<void> archive_apart(const RunFolder& folder) {
  std::string program = "/proc/self/exe", command = "archive", path = folder.path();
  char* argv[] = {program.data(), command.data(), path.data(), nullptr};
  pid_t pid = -1;
  if (const int error = posix_spawn(&pid, program.c_str(), nullptr, nullptr, argv, environ); error != 0)
    return fail_os(Fault::internal, "the archiver cannot be started", error);
  int status = 0;
  while (waitpid(pid, &status, 0) < 0 && errno == EINTR) {
  }
  if (!WIFEXITED(status) || WEXITSTATUS(status) != 0)
    return fail(
        Fault::storage,
        "the archive was not made; the journal holds everything. Try again with: trackrod archive " + folder.path());
  return {};
}

ClockPair clock_pair(const TimeSource& time) {
  const auto wall = std::chrono::system_clock::now();
  return {time.now(), std::chrono::duration_cast<std::chrono::nanoseconds>(wall.time_since_epoch()).count()};
}

StreamHeader stream_header(const Loaded& loaded, const RunRecord& record, ClockPair clock) {
  StreamHeader h;
  h.run_id = record.id;
  std::string all;
  for (const auto* copies : {&record.bench, &record.plan})
    for (const auto& copy : *copies) all += copy.sha256;
  h.config_hash = sha256(all);
  h.tick = loaded.bench->tick;
  h.clock = clock;
  h.signals = loaded.bench->signal_infos();
  if (loaded.timeline)
    for (const auto& step : loaded.timeline->steps()) h.steps.push_back({step.id, step.name});
  for (const auto& device : loaded.bench->devices) h.devices.push_back(device.name);
  for (const auto& interlock : loaded.bench->interlocks) h.interlocks.push_back(interlock.name);
  for (const auto& fault : loaded.bench->faults) h.faults.push_back(fault.name);
  return h;
}

void note_ending(RunRecord& record, const Outcome& outcome, Duration taken) {
  record.ended = shown_wall_time(std::chrono::system_clock::now());
  record.duration_s = seconds(taken);
  record.tripped = outcome.tripped;
  record.safe_reached = outcome.safe_reached;
  record.as_planned = !outcome.tripped && outcome.stop == StopCause::finished;
  record.ending = outcome.tripped ? "tripped (" + trip_cause_name(outcome.trip) + ")" : stop_cause_name(outcome.stop);
  if (!outcome.safe_reached) record.notes.push_back("the safe state was not confirmed within its time");
}

void note_inspection(RunRecord& record, const Loaded& loaded, const Outcome& outcome,
                     std::span<const AccountRoom> rooms) {
  const auto& bench = *loaded.bench;
  const auto at = [&](Occasion occasion) {
    return read_accounts(rooms[static_cast<std::size_t>(occasion)], bench.devices.size());
  };
  const auto before = at(Occasion::before), after = at(Occasion::after), end = at(Occasion::end);
  if (const auto& last = end ? end : before) record.identities = identity_lines(bench, *last);
  if (before) record.faults_before = fault_lines(bench, *before);
  if (after) record.faults_after = fault_lines(bench, *after);
  record.invalid = invalid_by(bench, *loaded.plan, before, after);
  record.refused = before && !outcome.tripped && outcome.stop == StopCause::refused;
  if (!record.refused) return;
  record.ending = "refused before anything moved:";
  for (const auto& refusal : identity_refusals(bench, *loaded.plan, *before))
    record.ending.append(" ").append(refusal).append(".");
  record.ending +=
      " Look at what is mounted and which software it has, and at 'identity' of the bench and 'requires' of the plan";
}

std::string report_of(const RunRecord& record, const Loaded& loaded, const CaptureView& capture,
                      const Evaluation& evaluation, const SignOff& sign_off) {
  auto rest = beside(evaluation, judged_grids(loaded));
  Report report;
  report.facts = facts_of(record, loaded, capture, stream_header(loaded, record, {}));
  report.sign_off = sign_off;
  report.findings = std::move(rest.findings);
  report.figures = std::move(rest.figures);
  report.signals = capture.signals();
  report.timing = capture.timing();
  report.gaps = capture.gaps();
  report.begin = capture.begin();
  return write_html(report);
}

void tell(const std::vector<Finding>& findings, const SignOff& sign_off, const std::string& report,
          const Console& console) {
  // The terminal shows what a requirement hangs on; the report has it all.
  const bool has_matrix = !sign_off.matrices.empty();
  std::vector<Finding> judged;
  std::copy_if(findings.begin(), findings.end(), std::back_inserter(judged),
               [&](const Finding& f) { return f.judged && !(has_matrix && f.verdict == Verdict::pass); });
  const auto& shown = judged.empty() && !has_matrix ? findings : judged;
  if (!shown.empty()) console.say(findings_table(shown, {console.width(), console.colour(), console.unicode()}));
  if (const auto more = findings.size() - shown.size(); more > 0)
    console.say(std::to_string(more) + " findings " + (has_matrix ? "that pass or have no limit" : "without a limit") +
                " are in the report");
  tell(sign_off, console);
  console.say("report: " + report);
  console.give(write_findings(findings));
}

int joined_status(const RunRecord& record, const std::vector<Finding>& findings) {
  if (!record.safe_reached) return harness_failed;
  if (record.refused) return bad_input;
  if (!record.as_planned) return tripped;
  return record.invalid.empty() ? exit_status(findings) : inconclusive;
}

namespace {

Finished score_and_report(const RunFolder& folder, const RunRecord& record, const Loaded& loaded, Console& console) {
  if (auto archived = archive_apart(folder); !archived) console.complain(archived.error());
  auto capture = JournalCapture::open(folder.file("journal"));
  if (!capture) return console.complain(capture.error()), Finished{};
  const auto cycles = read_cycle_book(folder.file("cycles.jsonl"), loaded.plan->criteria.size());
  if (!cycles) return console.complain(cycles.error()), Finished{};
  const auto evaluation = evaluate(*loaded.plan, **capture, record.invalid, *cycles);
  if (auto w = folder.write("findings.json", write_findings(evaluation.findings)); !w)
    return console.complain(w.error()), Finished{};
  const auto sign_off = sign_off_of(record, loaded, evaluation);
  if (auto w = folder.write("report.html", report_of(record, loaded, **capture, evaluation, sign_off)); !w)
    return console.complain(w.error()), Finished{};
  if (auto w = write_matrix_files(folder, sign_off); !w) return console.complain(w.error()), Finished{};
  if (!record.as_planned) console.complain("the run ended: " + record.ending);
  for (const auto& reason : record.invalid) console.complain("the run is invalid: " + reason);
  tell(evaluation.findings, sign_off, folder.file("report.html"), console);
  return {joined_status(record, evaluation.findings), tally_text(tally(evaluation.findings))};
}

}  // namespace

Finished finish_run(const RunFolder& folder, const RunRecord& record, const Loaded& loaded, Console& console) {
  auto finished = score_and_report(folder, record, loaded, console);
  enter_run(folder, WithoutLedger::make_one, console);
  return finished;
}

}  // namespace trackrod
