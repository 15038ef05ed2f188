// The option table: every command, its options and their words. Help texts come from here and nowhere else.

#include <CLI/CLI.hpp>
#include <algorithm>
#include <cstdio>
#include <functional>

#include "harness/cli/commands.hpp"
#include "harness/cli/completion.hpp"
#include "harness/cli/manual.hpp"
#include "harness/cli/option_words.hpp"
#include "harness/cli/order.hpp"
#include "harness/cli/version.hpp"

namespace trackrod {
namespace {

constexpr char statuses[] =
    "Exit status: 0 all pass, 1 a fail, 2 bad usage or input, 3 tripped or stopped, 4 inconclusive or not run,\n"
    "5 the harness or a link to the bench failed.";

class Options {
 public:
  Options()
      : app_{
            "Runs bench tests of steer-by-wire units and says, with a stated uncertainty, whether the unit does what "
            "its requirements ask.",
            "trackrod"} {
    app_.set_version_flag("--version", program_version);
    app_.add_flag("--json", json_, "results as JSON on stdout; text for people goes to stderr");
    app_.require_subcommand(1);
    app_.fallthrough();
    app_.footer(statuses);
    add_file_commands();
    add_run_commands();
    add_result_commands();
    add_inner_commands();
  }

  // `words`: without the program's name.
  int run(std::vector<std::string> words) {
    std::reverse(words.begin(), words.end());  // as the library wants them
    try {
      app_.parse(words);
    } catch (const CLI::ParseError& e) {
      return app_.exit(e) == 0 ? all_pass : bad_input;
    }
    Console console{json_};
    return chosen_(console);
  }

 private:
  using Command = std::function<int(Console&)>;

  CLI::App& add(const std::string& name, const std::string& words, Command command) {
    auto& sub = *app_.add_subcommand(name, words);
    sub.callback([this, command = std::move(command)] { chosen_ = command; });
    return sub;
  }
  static void add_plan(CLI::App& sub, PlanChoice& files, bool needed = true) {
    sub.add_option("PLAN", files.plan, "plan file")->type_name(a_file)->required(needed);
    sub.add_option("--bench", files.bench, "bench file")->type_name(a_file)->required(needed);
    sub.add_option("--set", files.set, "name=value for a variable of the plan; may be repeated");
  }

  static void add_arming(CLI::App& sub, ArmingOptions& arming) {
    sub.add_option("--confirmed-by", arming.confirmed_by,
                   "who stands at the bench and has read the cautions; else it is asked at the terminal");
    sub.add_option("--and-by", arming.and_by,
                   "a second person, where the plan makes faults that two must agree to; else it is asked");
  }

  static void add_spans(CLI::App& sub, SpanOptions& spans) {
    sub.add_option("--spans", spans.file, "of a recording: file that says which stretches stand for steps")
        ->type_name(a_file);
    sub.add_option("--find", spans.find, "steps, sweeps or holds: find them in the signal --in; may be repeated")
        ->expected(1)
        ->multi_option_policy(CLI::MultiOptionPolicy::TakeAll);
    sub.add_option("--in", spans.in, "the signal in which --find looks");
    sub.add_option("--name", spans.names,
                   "names for what --find found, in turn: left,back,right,back; \"-\" leaves one out; \"plan\": in the "
                   "order of "
                   "the plan; one --name for each "
                   "--find")
        ->expected(1)
        ->multi_option_policy(CLI::MultiOptionPolicy::TakeAll);
    sub.add_option("--from", spans.from,
                   "--find looks from this time of the recording on, as \"10 s\" (default: all of it)");
    sub.add_option("--to", spans.to, "--find looks up to this time of the recording");
    sub.add_option("--least", spans.least, "a hold lasts at least this long (default: 200 ms)");
    sub.add_option("--tolerance", spans.tolerance, "a hold stays within this (default: by the signal's noise)");
  }

  void add_file_commands() {
    auto& check = add("check", "check a bench file, and a plan against it; with --live, look at the bench itself",
                      [this](Console& c) { return check_command(check_, c); });
    check.add_option("BENCH", check_.files.bench, "bench file")->type_name(a_file)->required();
    check.add_option("PLAN", check_.files.plan, "plan file")->type_name(a_file);
    check.add_option("--set", check_.files.set, "name=value for a variable of the plan; may be repeated");
    check.add_flag("--live", check_.live,
                   "open every link, listen and ask, drive nothing; without it no device is touched");
    check.add_option("--for", check_.how_long, "how long to look at the bench")->capture_default_str();
    auto* nudge = check.add_option("--nudge", check_.nudge.signal,
                                   "with --live: THE BENCH MOVES. Move this driven signal a little, out and back, and "
                                   "see which sensors follow, and which way");
    check
        .add_option("--by", check_.nudge.by, "how far to nudge, such as \"2 deg\" (default: a hundredth of the range)")
        ->needs(nudge);
    auto* shift = check.add_flag("--shift", check_.shift.wanted,
                                 "prove the interlocks for this shift: break each on purpose, or confirm it; drives "
                                 "nothing");
    check
        .add_option("--within", check_.shift.within,
                    "time in which an interlock is to be broken, and in which it is to hold again")
        ->capture_default_str()
        ->needs(shift);
    check
        .add_option("--confirm", check_.shift.confirm,
                    "an interlock that you have looked at; may be repeated; else it is asked at the terminal")
        ->expected(1)
        ->multi_option_policy(CLI::MultiOptionPolicy::TakeAll)
        ->needs(shift);
    check
        .add_option("--runs", check_.runs,
                    "where the run folder of a nudge is made, and where the proofs of a shift are kept")
        ->type_name(a_folder)
        ->capture_default_str();
    add_arming(check, check_.arming);
    nudge->excludes(shift);

    auto& listen = add("listen", "show what arrives from a device, as bytes and decoded; sends nothing",
                       [this](Console& c) { return listen_command(listen_, c); });
    listen.add_option("DEVICE", listen_.device, "name of the device in the bench file")->required();
    listen.add_option("--bench", listen_.bench, "bench file")->type_name(a_file)->required();
    listen.add_option("--for", listen_.how_long, "how long to listen")->capture_default_str();
    listen.add_option("--count", listen_.count, "stop after this many arrivals")->capture_default_str();

    auto& selfcheck = add("selfcheck", "how well this machine keeps time, what it allows, and what to do about it",
                          [this](Console& c) { return selfcheck_command(selfcheck_, c); });
    selfcheck.add_option("--for", selfcheck_.how_long, "how long to measure the timing")->capture_default_str();

    auto& preview = add("preview", "draw what a plan will ask of the bench, and how near it comes to the limits",
                        [this](Console& c) { return preview_command(preview_, c); });
    add_plan(preview, preview_.files);
    preview.add_option("--svg", preview_.svg, "write the picture to this file")->type_name(a_file);

    auto& schema = add("schema", "print the JSON Schema of a kind of file, for editors",
                       [this](Console&) { return schema_command(schema_); });
    schema.add_option("KIND", schema_.of, "bench, plan, truth, import, spans or sign-off")
        ->required()
        ->check(CLI::IsMember({"bench", "plan", "truth", "import", "spans", "sign-off"}));
  }

  void add_run_commands() {
    auto& rehearse = add("rehearse", "run a plan in virtual time against the simulated bench; nothing real moves",
                         [this](Console& c) { return rehearse_command(rehearse_, c); });
    add_plan(rehearse, rehearse_.files);
    rehearse.add_option("--runs", rehearse_.runs, "where run folders are made")
        ->type_name(a_folder)
        ->capture_default_str();
    rehearse
        .add_option("--truth", rehearse_.truth,
                    "truth file of the simulated bench (default: truth.json beside the bench file)")
        ->type_name(a_file);
    rehearse.add_option("--truth-set", rehearse_.truth_set,
                        "name=value for one truth, such as road.dead_time=\"60 ms\"; may be repeated");
    rehearse.add_option("--seed", rehearse_.seed, "seed of the simulated noise")->capture_default_str();

    auto& run = add("run", "run a plan on the bench. THE BENCH MOVES: see the cautions it prints",
                    [this](Console& c) { return run_command(run_, c); });
    add_plan(run, run_.files, /*needed=*/false);
    run.add_option(
           "--resume", run_.resume,
           "instead of PLAN: folder of a long run that stopped in its repeat; go on with the pass after its last "
           "whole one, once the interlocks were proven anew")
        ->type_name(a_folder);
    run.add_option("--runs", run_.runs, "where run folders are made")->type_name(a_folder)->capture_default_str();
    run.add_option("--after", run_.after, "folder of a run of this plan that was cut short: go on where it ended")
        ->type_name(a_folder);
    run.add_option("--from", run_.from, "with --after: the step to begin with (default: the first one that it left)");
    add_arming(run, run_.arming);
    run.add_option("--notify", run_.notify,
                   "program to start when the run trips, ends, or its disk runs full: PROGRAM KIND RUN SENTENCE "
                   "VERDICTS; it delays nothing and is killed after 30 s")
        ->type_name(a_file);
    run.add_flag(
        "--unattended", run_.arming.unattended,
        "nobody stays at the bench, where the bench file allows that; the run goes on when the terminal closes");

    auto& order = add("run-order",
                      "obey an order for one run, which is a file that a person wrote: take it away, then run. THE "
                      "BENCH MOVES. For the service",
                      [this](Console& c) { return obey(c); });
    order
        .add_option("ORDER", order_, "file with the words of one `trackrod run`, one a line; good for 15 minutes, once")
        ->type_name(a_file)
        ->required();

    auto& simulate = add("simulate", "stand in for the bench and its unit, over the bench file's own links",
                         [this](Console& c) { return simulate_command(simulate_, c); });
    simulate.add_option("--bench", simulate_.bench, "bench file")->type_name(a_file)->required();
    simulate.add_option("--truth", simulate_.truth, "truth file (default: truth.json beside the bench file)")
        ->type_name(a_file);
    simulate.add_option("--set", simulate_.set,
                        "name=value for one truth, such as road.dead_time=\"60 ms\"; may be repeated");
    simulate
        .add_option("--log", simulate_.log,
                    "write what was received and what was true to this file, a JSON object a line")
        ->type_name(a_file);
    simulate.add_option("--seed", simulate_.seed, "seed of the noise")->capture_default_str();
  }

  void add_result_commands() {
    auto& import = add("import", "make a run folder of a recording made elsewhere: CSV, or candump text",
                       [this](Console& c) { return import_command(import_, c); });
    import.add_option("FILE", import_.recording.file, "the recording")->type_name(a_file)->required();
    import.add_option("--as", import_.recording.as, "description of such recordings")->type_name(a_file)->required();
    import.add_option("--into", import_.recording.into, "the folder to make (default: one in --runs)")
        ->type_name(a_folder);
    import.add_option("--runs", import_.recording.runs, "where run folders are made")
        ->type_name(a_folder)
        ->capture_default_str();
    add_spans(import, import_.spans);

    auto& score = add("score", "score a run by its plan, or a recording made elsewhere by a plan's criteria",
                      [this](Console& c) { return score_command(score_, c); });
    score.add_option("RUN", score_.run, "run folder, or with --as the file of a recording")
        ->type_name(a_file)
        ->required();
    score.add_option("--as", score_.as, "description of such recordings: import the file first")->type_name(a_file);
    score.add_option("--runs", score_.runs, "with --as: where run folders are made")
        ->type_name(a_folder)
        ->capture_default_str();
    score.add_option("--plan", score_.plan, "of a recording: the plan whose criteria are applied")->type_name(a_file);
    score.add_option("--set", score_.set, "name=value for a variable of that plan; may be repeated");
    add_spans(score, score_.spans);
    auto& report = add("report", "write the report of a run, or of several runs of one plan with a sign-off matrix",
                       [this](Console& c) { return report_command(report_, c); });
    report.add_option("RUN", report_.runs, "run folder; of several the report goes into the latest")
        ->type_name(a_folder)
        ->required();
    report.add_option("--sign-off", report_.sign_off, "file of waivers, and of why runs were made again")
        ->type_name(a_file);
    report.add_option("--on", report_.on, "day on which waivers are looked at, as 2026-11-25 (default: today)");
    auto& archive = add("archive", "make the HDF5 archive of a run from its journal",
                        [this](Console& c) { return archive_command(archive_, c); });
    archive.add_option("RUN", archive_.run, "run folder")->type_name(a_folder)->required();

    add_history();

    auto& calibrate = add("calibrate", "write what a run measured into the bench file; nothing moves",
                          [this](Console& c) { return calibrate_command(calibrate_, c); });
    calibrate
        .add_option("--skew", calibrate_.skew,
                    "SIGNAL AGAINST: how much later SIGNAL shows a motion than AGAINST, which sees the same motion")
        ->type_name("SIGNAL AGAINST")
        ->expected(2)
        ->required();
    calibrate.add_option("--from", calibrate_.run, "run folder; no rehearsal")->type_name(a_folder)->required();
    calibrate.add_option("--steps", calibrate_.steps, "steps to look at (default: all)");
    calibrate.add_option("--bench", calibrate_.bench, "bench file")->type_name(a_file)->required();
    calibrate
        .add_option("--into", calibrate_.into, "file of the bench that has a list of skews, often an included one")
        ->type_name(a_file)
        ->required();
    calibrate.add_option("--sign", calibrate_.sign, "\"opposite\": SIGNAL is meant to go against AGAINST");
    calibrate.add_option("--longest", calibrate_.longest, "longest skew that is looked for (default: 50 ms)");
  }

  int obey(Console& console) {
    auto words = take_order(order_, std::chrono::system_clock::now());
    if (!words) return console.complain(words.error()), status_of(words.error());
    words->insert(words->begin(), "run");
    if (json_) words->insert(words->begin(), "--json");
    return Options{}.run(std::move(*words));
  }

  void add_history() {
    auto& history = add("history", "list the runs there were, or how one finding went over units and dates",
                        [this](Console& c) { return history_command(history_, c); });
    history.add_option("RUNS", history_.runs, "where the run folders are, and beside them the ledger")
        ->type_name(a_folder)
        ->capture_default_str();
    history.add_option("--unit", history_.unit, "of this unit: its serial number, or the name of the kind of unit");
    history.add_option("--plan", history_.plan, "by this plan");
    history.add_option("--bench", history_.bench, "on this bench");
    history.add_option("--since", history_.since, "from this day on, as 2026-11-25");
    history.add_option("--until", history_.until, "up to this day, itself included");
    history.add_option("--step", history_.step, "only findings of this step");
    history.add_option("--requirement", history_.requirement, "only findings for this requirement");
    history
        .add_option(
            "--verdict", history_.verdict,
            "only findings that came out so: pass, fail, inconclusive, \"not run\" or invalid; without --finding "
            "the worst of each run counts")
        ->check(CLI::IsMember({"pass", "fail", "inconclusive", "not run", "invalid"}));
    history.add_flag("--rehearsals", history_.rehearsals, "rehearsals too; they are left out otherwise");
    history.add_flag("--every-scoring", history_.every_scoring, "every scoring of a run, not only its last one");
    auto* finding = history.add_option("--finding", history_.finding,
                                       "show how this finding went, such as delay.dead_time, run by run");
    history.add_flag("--plot", history_.plot, "draw it on the terminal")->needs(finding);
    history.add_option("--svg", history_.svg, "write the picture to this file")->needs(finding);
    history.add_option("--csv", history_.csv, "write what is listed to this file, as comma-separated values");
    history.add_option("--ledger", history_.ledger,
                       "another ledger, as \"postgresql://host=HOST dbname=NAME\" or \"sqlite3://db=FILE\" (default: "
                       "what the environment variable TRACKROD_LEDGER says, else the file ledger.db in RUNS)");
    history.add_flag("--rebuild", history_.rebuild, "first make the ledger anew from the run folders in RUNS");
  }

  // Not for people: what the build makes of this table, and what the keeper starts.
  void add_inner_commands() {
    auto& manual = add("manual", "write the manual pages", [this](Console& c) {
      const auto written = write_manual(app_, manual_);
      return written ? all_pass : (c.complain(written.error()), status_of(written.error()));
    });
    manual.group("");
    manual.add_option("FOLDER", manual_)->required();
    auto& completion = add("completion", "print what a shell needs to complete commands and options",
                           [this](Console&) { return std::fputs(bash_completion(app_).c_str(), stdout), all_pass; });
    completion.group("");
    completion.add_option("SHELL", completion_)->required()->check(CLI::IsMember({"bash"}));

    auto& loop = add("loop", "the loop's process; started by run", [this](Console&) { return loop_command(loop_); });
    loop.group("");
    loop.add_option("--shared", loop_.shared)->required();
    loop.add_option("--keeper", loop_.keeper)->required();
    loop.add_option("--job", loop_.job)->required();
    loop.add_option("--links", loop_.links)->delimiter(',')->required();
    auto& follow = add("follow", "works out the cycles of a run while it goes on, until its input ends; started by run",
                       [this](Console& c) { return follow_command(follow_, c); });
    follow.group("");
    follow.add_option("RUN", follow_.run)->required();
  }

  CLI::App app_;
  bool json_{false};
  Command chosen_;
  CheckOptions check_;
  ListenOptions listen_;
  SelfcheckOptions selfcheck_;
  PreviewChoice preview_;
  SchemaOptions schema_;
  RehearseOptions rehearse_;
  RunOptions run_;
  SimulateOptions simulate_;
  ImportOptions import_;
  ScoreOptions score_;
  ReportOptions report_;
  HistoryOptions history_;
  ArchiveOptions archive_;
  CalibrateOptions calibrate_;
  std::string order_, manual_, completion_;
  LoopOptions loop_;
  FollowOptions follow_;
};

}  // namespace
}  // namespace trackrod

int main(int argc, char** argv) {
  try {
    return trackrod::Options{}.run({argv + 1, argv + argc});
  } catch (const std::exception& e) {
    std::fprintf(stderr, "trackrod: the harness failed: %s\n", e.what());
    return trackrod::harness_failed;
  }
}
