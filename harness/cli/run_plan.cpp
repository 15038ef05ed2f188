// The keeper. Opens the links, starts the loop in a process of its own, records what it does, and
// brings the bench to its safe state if the loop cannot.

#include "harness/cli/run_plan.hpp"

#include <fcntl.h>
#include <spdlog/sinks/basic_file_sink.h>
#include <spdlog/spdlog.h>
#include <unistd.h>

#include <csignal>
#include <cstring>

#include "drivers/device/device_inputs.hpp"
#include "drivers/device/device_set.hpp"
#include "harness/capture/events.hpp"
#include "harness/capture/writer.hpp"
#include "harness/cli/disk_room.hpp"
#include "harness/cli/finish.hpp"
#include "harness/cli/follower.hpp"
#include "harness/cli/following.hpp"
#include "harness/cli/host_facts.hpp"
#include "harness/cli/inspection.hpp"
#include "harness/cli/job.hpp"
#include "harness/cli/message_notes.hpp"
#include "harness/cli/progress.hpp"
#include "harness/cli/run_news.hpp"
#include "harness/cli/version.hpp"
#include "harness/engine/keeper.hpp"
#include "harness/engine/realtime.hpp"
#include "harness/engine/recorder.hpp"

namespace trackrod {
namespace {

constexpr char unconfirmed[] =
    "THE SAFE STATE WAS NOT CONFIRMED within its time: hit the hard-wired stop, and look at the bench before anything "
    "else";

// The keeper holds these; the loop inherits those it needs by number.
struct Descriptors {
  int job{-1};
  std::vector<int> links;
  ~Descriptors() {
    if (job >= 0) close(job);
  }
};

std::string joined(const std::vector<int>& numbers) {
  std::string text;
  for (const int n : numbers) text += (text.empty() ? "" : ",") + std::to_string(n);
  return text;
}

Result<LoopProcess> launch(const SharedMapping& shared, const Descriptors& fds) {
  std::vector<int> inherit = fds.links;
  inherit.insert(inherit.end(), {shared.descriptor(), fds.job});
  return start_loop("/proc/self/exe",
                    {"loop", "--shared", std::to_string(shared.descriptor()), "--job", std::to_string(fds.job),
                     "--links", joined(fds.links)},
                    inherit);
}

void note_loop_death(RunRecord& record, const LoopEnd& end) {
  if (!end.died) return;
  record.as_planned = false;
  record.ending = end.hung ? "the loop hung; its keeper ended it and drove the safe state"
                           : "the loop died (" + std::string{end.signal != 0 ? strsignal(end.signal) : "by itself"} +
                                 "); its keeper drove the safe state";
}

}  // namespace

int run_plan(const Loaded& loaded, const std::string& runs, const RunBefore& before, const std::string& notify,
             const Clearance& clearance, Console& console) {
  std::signal(SIGPIPE, SIG_IGN);

  auto set = open_devices(*loaded.bench);
  if (!set) return console.complain(set.error()), harness_failed;
  for (const auto& link : set->links)
    if (const auto remark = link->remark(); !remark.empty()) console.say("note: " + remark);
  auto shared = SharedMapping::create();
  if (!shared) return console.complain(shared.error()), harness_failed;
  Descriptors fds;
  auto job = write_job(loaded);
  if (!job) return console.complain(job.error()), harness_failed;
  fds.job = *job;
  fds.links = set->descriptors();

  const auto need = capture_need(*loaded.timeline, *loaded.bench, summarised_signals(*loaded.plan).size());
  if (auto room = check_room(need, runs); !room) return console.complain(room.error()), harness_failed;

  RunRecord record;
  record.after = before.run;
  record.from = loaded.from;
  record.made = loaded.made;
  if (before.resumed) record.notes.push_back(before.resumed->sentence);
  record.confirmed_by = clearance.by;
  record.and_by = clearance.and_by;
  record.unattended = clearance.unattended;
  record.proofs = clearance.proofs;
  record.program = program_version;
  record.ending = "running, or ended without a word";
  record.host = program_and_machine();
  for (auto& fact : timing_floor()) record.host.push_back(std::move(fact));
  auto folder = RunFolder::create(runs, loaded, record);
  if (!folder) return console.complain(folder.error()), harness_failed;

  SteadyTime time;
  const auto begun = time.now();
  auto journal = JournalWriter::create(folder->file("journal"), stream_header(loaded, record, clock_pair(time)),
                                       segment_limits(loaded));
  if (!journal) return console.complain(journal.error()), harness_failed;

  Reader reader{set->link_pointers()};  // used only after the loop's death
  DeviceInputs inputs{reader, set->device_pointers(), DeviceInputs::Reading::here};
  SharedRecords records{**shared};
  const TakeOverParts parts{*loaded.bench, set->device_pointers(), inputs, time, records};
  if (before.resumed)
    if (auto taken = take_cycles_over(*before.resumed, folder->path()); !taken)
      return console.complain(taken.error()), harness_failed;
  std::optional<Following> following;
  std::string limit_passed;
  if (is_followed(loaded)) {
    auto started = Following::start(folder->path(), [&](const std::string& sentence) {
      limit_passed = sentence;
      (*shared)->end_repeat.store(true);
    });
    if (!started) return console.complain(started.error()), harness_failed;
    following.emplace(std::move(*started));
  }
  auto loop = launch(*shared, fds);
  if (!loop) return console.complain(loop.error()), harness_failed;

  const auto log = spdlog::basic_logger_mt("run", folder->file("run.log"));
  log->flush_on(spdlog::level::info);
  RunNews news{notify, *folder, log, console};
  Progress progress{*loaded.timeline, journal->header(), console};
  std::atomic<std::uint32_t> disk_stop{0};
  const auto low = [&, reserve = reserve_bytes(need), told = false]() mutable {
    const auto left = free_bytes(folder->path());
    if (told || !left || *left >= reserve) return told;
    told = true;
    news.low_disk("the disk of '" + folder->path() + "' has room for " + shown(*left / 1e6, 3) +
                  " MB; the run ends in good order");
    return true;
  };
  Recorder recorder{*journal, **shared, disk_stop,
                    [&](const Event& event) {
                      progress.on_event(event);
                      news.on_event(event, progress.last());
                      log->info(event_words(event, journal->header()));
                      if (event.kind == EventKind::inspected)
                        (void)note_inspected(event, *loaded.bench, (*shared)->accounts, *journal);
                      const auto note = note_of(event, *set);
                      if (!note) return;
                      // Should it not be written, the next record is not either, and that ends the run.
                      (void)journal->note(*note);
                      log->info("{}: {}", loaded.bench->devices[note->device].name, note->text);
                    },
                    low};
  const auto grant =
      become_realtime(loop_priority + 1);  // above the loop: a loop that spins must not keep its keeper away
  const auto end = mind_loop(*loop, parts, **shared, disk_stop, clearance.unattended ? Hangup::ignored : Hangup::stops,
                             [&](BenchTime beat, bool stopping) { news.look(beat, stopping); });
  news.finishing();
  leave_realtime();  // scoring and archiving have time
  const auto recorded = recorder.finish();
  progress.end();
  if (!end.started) {
    news.ended("the loop did not start; nothing was driven", {});
    console.complain("the loop did not start; nothing was driven. Its words stand above; the folder is " +
                     folder->path());
    return harness_failed;
  }

  log->info("loop: {}; keeper: {}", (*shared)->grant, grant.words);
  note_ending(record, end.outcome, time.now() - begun);
  note_loop_death(record, end);
  note_inspection(record, loaded, end.outcome, (*shared)->accounts);
  record.host.emplace_back("loop", (*shared)->grant);
  record.host.emplace_back("keeper", grant.words);
  if (!recorded) record.notes.push_back("the journal lost records: " + recorded.error().context);
  if (auto ended = journal->end(time.now(), record.ending); !ended) record.notes.push_back(ended.error().context);
  if (following)
    if (auto finished = following->finish(); !finished) record.notes.push_back(finished.error().context);
  if (!limit_passed.empty()) record.notes.push_back(limit_passed);
  if (auto written = folder->write("run.json", to_json(record)); !written) console.complain(written.error());
  if (!end.outcome.safe_reached) console.complain(unconfirmed);
  const auto finished = finish_run(*folder, record, loaded, console);
  news.ended(record.ending + (end.outcome.safe_reached ? "" : std::string{"; "} + unconfirmed), finished.verdicts);
  return finished.status;
}

}  // namespace trackrod
