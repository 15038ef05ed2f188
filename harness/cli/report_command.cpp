// `trackrod report`: the report of a run, however it ended; of several runs of one plan with a common sign-off matrix.

#include <algorithm>
#include <nlohmann/json.hpp>

#include "harness/base/text_file.hpp"
#include "harness/cli/commands.hpp"
#include "harness/cli/finish.hpp"
#include "harness/cli/open_run.hpp"
#include "harness/cli/run_ledger.hpp"
#include "harness/recording/spans_file.hpp"

namespace trackrod {
namespace {

struct ScoredRun {
  OpenedRun run;
  Evaluation evaluation;

  SpannedCapture spanned() const { return {*run.capture, run.named_spans.value_or(std::vector<Span>{})}; }
  std::int64_t wall_ns() const { return run.capture->header().clock.wall_ns; }
};

Result<ScoredRun> scored(const std::string& path) {
  auto run = open_run(path);
  if (!run) return tl::unexpected<Error>{run.error()};
  if (!run->loaded.plan) return tl::unexpected<Error>{no_plan(*run)};
  ScoredRun out{std::move(*run), {}};
  const auto spanned = out.spanned();
  const CaptureView& capture = out.run.record.imported ? static_cast<const CaptureView&>(spanned) : *out.run.capture;
  out.evaluation = evaluate(*out.run.loaded.plan, capture, out.run.record.invalid, out.run.cycles);
  return out;
}

// Why both cannot stand in one matrix; empty: they can.
std::string apart(const OpenedRun& a, const OpenedRun& b) {
  const auto& unit_a = a.loaded.bench->unit;
  const auto& unit_b = b.loaded.bench->unit;
  if (a.record.plan.front().sha256 != b.record.plan.front().sha256) return "their plans differ";
  if (a.record.set != b.record.set) return "variables of the plan were set in another way";
  if (unit_a.name != unit_b.name || unit_a.serial != unit_b.serial) return "they are of different units";
  if (a.record.id == b.record.id) return "they are one and the same";
  return "";
}

// In the order of time.
Result<std::vector<ScoredRun>> scored_all(const std::vector<std::string>& paths) {
  std::vector<ScoredRun> runs;
  for (const auto& path : paths) {
    auto run = scored(path);
    if (!run) return tl::unexpected<Error>{run.error()};
    for (const auto& other : runs)
      if (const auto why = apart(other.run, run->run); !why.empty())
        return fail(Fault::bad_input, "'" + other.run.folder.path() + "' and '" + path + "': " + why +
                                          "; allowed: different runs of one plan on one unit");
    runs.push_back(std::move(*run));
  }
  std::ranges::stable_sort(runs, {}, &ScoredRun::wall_ns);
  if (runs.size() > 1 && judged_grids(runs.front().run.loaded).empty())
    return fail(Fault::bad_input, "the plan has no grid whose criteria have limits, so several runs have no matrix");
  return runs;
}

Result<SignOffFile> sign_off_file(const std::string& path, Console& console) {
  if (path.empty()) return SignOffFile{};
  auto text = read_text(path);
  if (!text) return tl::unexpected<Error>{std::move(text.error()).within("--sign-off")};
  Problems problems;
  auto file = parse_sign_off_file(*text, path, problems);
  if (problems.none()) return file;
  console.complain(problems);
  return fail(Fault::bad_input, "nothing was written");
}

Result<std::string> day_of(const std::string& option) {
  if (option.empty()) return shown_wall_time(std::chrono::system_clock::now()).substr(0, 10);
  Node node;
  node.kind = Node::Kind::text;
  node.text = option;
  Problems problems;
  std::string out;
  if (day().read(node, out, problems)) return out;
  return fail(Fault::bad_input, "--on: found '" + option + "'; allowed: a day, as 2026-11-25");
}

void caution_of_identities(const std::vector<ScoredRun>& runs, SignOff& sign_off) {
  for (const auto& run : runs)
    if (run.run.record.identities != runs.front().run.record.identities)
      return sign_off.cautions.push_back("Not every run's devices said the same of themselves: run " +
                                         run.run.record.id + " differs from run " + runs.front().run.record.id + ".");
}

Result<SignOff> sign_off_of_all(const std::vector<ScoredRun>& runs, const ReportOptions& options, Console& console) {
  const auto file = sign_off_file(options.sign_off, console);
  if (!file) return tl::unexpected<Error>{file.error()};
  const auto on = day_of(options.on);
  if (!on) return tl::unexpected<Error>{on.error()};
  const auto& loaded = runs.back().run.loaded;
  const auto grids = judged_grids(loaded);
  if (grids.empty() && !options.sign_off.empty())
    return fail(Fault::bad_input, "--sign-off: the plan has no grid whose criteria have limits, so there is no matrix");
  if (grids.empty()) return SignOff{};
  std::vector<TriedRun> tried;
  for (const auto& run : runs) tried.push_back(tried_run(run.run.record, run.evaluation));
  Problems problems;
  auto sign_off = make_sign_off(grids, fault_names(loaded), tried, *file, *on, problems);
  if (!problems.none()) {
    console.complain(problems);
    return fail(Fault::bad_input, "nothing was written");
  }
  caution_of_identities(runs, sign_off);
  return sign_off;
}

// Of one run how it ended comes first; of several the matrix says what is missing.
int status_of_all(const std::vector<ScoredRun>& runs, const SignOff& sign_off) {
  if (sign_off.matrices.empty()) return joined_status(runs.back().run.record, runs.back().evaluation.findings);
  const auto rest = beside(runs.back().evaluation, judged_grids(runs.back().run.loaded));
  const auto of_matrix = exit_status(whole_state(rest.findings, sign_off.matrices));
  if (runs.size() > 1) return of_matrix;
  const auto of_run = joined_status(runs.back().run.record, {});
  return of_run == all_pass || (of_run == inconclusive && of_matrix == a_fail) ? of_matrix : of_run;
}

std::string as_json(const RunFolder& folder, const SignOff& sign_off) {
  nlohmann::ordered_json j{{"report", folder.file("report.html")}};
  if (!sign_off.matrices.empty()) {
    j["csv"] = folder.file("matrix.csv");
    j["junit"] = folder.file("matrix.xml");
  }
  auto list = nlohmann::ordered_json::array();
  for (const auto& matrix : sign_off.matrices) {
    const auto c = coverage_of(matrix);
    list.push_back({{"grid", matrix.grid},
                    {"planned", c.planned},
                    {"run", c.run},
                    {"pass", c.pass},
                    {"fail", c.fail},
                    {"inconclusive", c.inconclusive},
                    {"not_run", c.not_run},
                    {"invalid", c.invalid},
                    {"waived", c.waived},
                    {"open", c.open},
                    {"left_out", c.left_out},
                    {"limits", c.limits},
                    {"expected_false_accepts", c.false_accepts}});
  }
  j["matrices"] = std::move(list);
  j["refused"] = sign_off.refused;
  return j.dump(2) + "\n";
}

}  // namespace

int report_command(const ReportOptions& options, Console& console) {
  const auto runs = scored_all(options.runs);
  if (!runs) return console.complain(runs.error()), status_of(runs.error());
  const auto sign_off = sign_off_of_all(*runs, options, console);
  if (!sign_off) return console.complain(sign_off.error()), status_of(sign_off.error());
  const auto& [run, evaluation] = runs->back();
  const auto spanned = runs->back().spanned();
  const CaptureView& capture = run.record.imported ? static_cast<const CaptureView&>(spanned) : *run.capture;
  const auto page = report_of(run.record, run.loaded, capture, evaluation, *sign_off);
  if (auto w = run.folder.write("report.html", page); !w) return console.complain(w.error()), harness_failed;
  if (auto w = write_matrix_files(run.folder, *sign_off); !w) return console.complain(w.error()), harness_failed;
  enter_run(run.folder, WithoutLedger::let_be, console);
  tell(*sign_off, console);
  console.say("report: " + run.folder.file("report.html"));
  console.give(as_json(run.folder, *sign_off));
  return status_of_all(*runs, *sign_off);
}

}  // namespace trackrod
