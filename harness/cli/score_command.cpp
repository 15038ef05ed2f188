// `trackrod score`: from a run folder, however its run ended, or from a recording made elsewhere.

#include <filesystem>

#include "harness/base/text_file.hpp"
#include "harness/cli/commands.hpp"
#include "harness/cli/finish.hpp"
#include "harness/cli/import_recording.hpp"
#include "harness/cli/run_ledger.hpp"
#include "harness/recording/spans_file.hpp"
#include "harness/report/findings_json.hpp"

namespace trackrod {
namespace {

// The first scoring stands in the folder itself (""); each later one has a folder of its own in it, so that none is
// lost.
std::string place_for_findings(const RunFolder& folder) {
  if (!std::filesystem::exists(folder.file("findings.json"))) return "";
  std::filesystem::create_directories(folder.file("scores"));
  for (int n = 2;; ++n) {
    const auto number = std::to_string(n);
    const auto name = "scores/" + std::string(number.size() < 3 ? 3 - number.size() : 0, '0') + number;
    if (std::filesystem::create_directory(folder.file(name))) return name + "/";
  }
}

// What the options say of an imported recording, in place of what stands in its folder.
Result<void> take_options(const ScoreOptions& options, OpenedRun& run, Console& console) {
  auto set = parse_assignments(options.set);
  if (!set) return tl::unexpected<Error>{set.error()};
  if (!options.plan.empty()) {
    auto sources = load_plan_sources(options.plan);
    if (!sources) return tl::unexpected<Error>{sources.error()};
    Problems problems;
    run.loaded.plan = parse_criteria(*sources, *set, *run.loaded.bench, catalogue(), problems);
    if (!run.loaded.plan) {
      console.complain(problems);
      return fail(Fault::bad_input, "the criteria of '" + options.plan + "' were not taken");
    }
    run.loaded.plan_sources = std::move(*sources);
    run.loaded.set = run.record.set = std::move(*set);
  } else if (!set->empty()) {
    return fail(Fault::bad_input, "--set goes with --plan");
  }
  if (!run.loaded.plan) return tl::unexpected<Error>{no_plan(run)};
  auto spans = spans_by(options.spans, run, console);
  if (!spans) return tl::unexpected<Error>{spans.error()};
  if (*spans) run.named_spans = std::move(*spans);
  return {};
}

// Spans that no criterion asks for, and the other way round: mostly a name that was not given.
void tell_names(const OpenedRun& run, const Console& console) {
  std::vector<std::string> wanted, there;
  const auto add = [](std::vector<std::string>& names, const std::string& name) {
    if (std::find(names.begin(), names.end(), name) == names.end()) names.push_back(name);
  };
  for (const auto& criterion : run.loaded.plan->criteria)
    if (!criterion.signals.empty() || !criterion.absent.empty())
      for (const auto& step : criterion.steps) add(wanted, step);
  if (run.named_spans)
    for (const auto& span : *run.named_spans) add(there, span.step);
  std::vector<std::string> missing;
  for (const auto& name : wanted)
    if (std::find(there.begin(), there.end(), name) == there.end()) missing.push_back(name);
  if (missing.empty()) return;
  console.say("the plan's criteria ask for steps that the recording has no span for: " + one_of(missing));
  constexpr std::size_t shown_names = 6;
  const auto more = there.size() > shown_names ? there.size() - shown_names : 0;
  there.resize(there.size() - more);
  console.say((there.empty() ? std::string{"it has no spans"} : "it has " + one_of(there)) +
              (more > 0 ? " and " + std::to_string(more) + " more" : "") +
              "; give names to found spans with --name, or write spans into a file for --spans");
}

// Plan and spans beside the findings that rest on them, and a report of its own.
int score_recording(const ScoreOptions& options, OpenedRun& run, Console& console) {
  if (auto taken = take_options(options, run, console); !taken)
    return console.complain(taken.error()), status_of(taken.error());
  tell_names(run, console);
  const SpannedCapture capture{*run.capture, run.named_spans.value_or(std::vector<Span>{})};
  const auto evaluation = evaluate(*run.loaded.plan, capture, run.record.invalid);
  const auto sign_off = sign_off_of(run.record, run.loaded, evaluation);
  const auto place = place_for_findings(run.folder);
  const auto write = [&]() -> Result<void> {
    auto copies = run.folder.copy(run.loaded.plan_sources, place + "plan.json");
    if (!copies) return tl::unexpected<Error>{copies.error()};
    run.record.plan = std::move(*copies);
    if (run.named_spans && !run.named_spans->empty())
      if (auto w = run.folder.write(place + "spans.json", spans_json(*run.named_spans)); !w) return w;
    if (auto w = run.folder.write(place + "findings.json", write_findings(evaluation.findings)); !w) return w;
    if (auto w =
            run.folder.write(place + "report.html", report_of(run.record, run.loaded, capture, evaluation, sign_off));
        !w)
      return w;
    return place.empty() ? run.folder.write("run.json", to_json(run.record)) : Result<void>{};
  };
  if (auto written = write(); !written) return console.complain(written.error()), harness_failed;
  tell(evaluation.findings, sign_off, run.folder.file(place + "report.html"), console);
  console.say("findings: " + run.folder.file(place + "findings.json"));
  return joined_status(run.record, evaluation.findings);
}

int score_run(const OpenedRun& run, Console& console) {
  const auto evaluation = evaluate(*run.loaded.plan, *run.capture, run.record.invalid, run.cycles);
  const auto place = place_for_findings(run.folder) + "findings.json";
  if (auto w = run.folder.write(place, write_findings(evaluation.findings)); !w)
    return console.complain(w.error()), harness_failed;
  tell(evaluation.findings, sign_off_of(run.record, run.loaded, evaluation), run.folder.file("report.html"), console);
  console.say("findings: " + run.folder.file(place));
  return joined_status(run.record, evaluation.findings);
}

}  // namespace

int score_command(const ScoreOptions& options, Console& console) {
  auto path = options.run;
  auto without = WithoutLedger::let_be;
  std::error_code ignored;
  if (std::filesystem::is_regular_file(path, ignored) || !options.as.empty()) {
    if (options.as.empty())
      return console.complain("'" + path + "' is a file; how to read it says a description: --as DESCRIPTION"),
             bad_input;
    if (options.plan.empty())
      return console.complain("a recording has no criteria of its own; name a plan that has some: --plan PLAN"),
             bad_input;
    if (const auto plan = read_text(options.plan); !plan)
      return console.complain(plan.error()), status_of(plan.error());
    const auto folder = import_recording({path, options.as, "", options.runs}, console);
    if (!folder) return console.complain(folder.error()), status_of(folder.error());
    path = folder->path();
    without = WithoutLedger::make_one;
  }
  auto run = open_run(path);
  if (!run) return console.complain(run.error()), status_of(run.error());
  if (run->record.imported) {
    const int status = score_recording(options, *run, console);
    enter_run(run->folder, without, console);
    return status;
  }
  if (!options.plan.empty() || !options.spans.file.empty() || !options.spans.find.empty())
    return console.complain("'" + path +
                            "' is a run, which has a plan and steps of its own; --plan, --spans and --find are for "
                            "recordings made elsewhere"),
           bad_input;
  const int status = score_run(*run, console);
  enter_run(run->folder, without, console);
  return status;
}

}  // namespace trackrod
