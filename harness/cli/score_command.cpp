// `trackrod score` and `trackrod report`: from a run folder, however its run ended.

#include <filesystem>

#include "harness/cli/commands.hpp"
#include "harness/cli/finish.hpp"
#include "harness/cli/open_run.hpp"
#include "harness/report/findings_json.hpp"

namespace trackrod {
namespace {

// The first scoring is findings.json; each later one has a folder of its own, so that none is lost.
std::string place_for_findings(const RunFolder& folder) {
  if (!std::filesystem::exists(folder.file("findings.json"))) return "findings.json";
  std::filesystem::create_directories(folder.file("scores"));
  for (int n = 2;; ++n) {
    const auto number = std::to_string(n);
    const auto name = "scores/" + std::string(number.size() < 3 ? 3 - number.size() : 0, '0') + number;
    if (std::filesystem::create_directory(folder.file(name))) return name + "/findings.json";
  }
}

}  // namespace

int score_command(const ScoreOptions& options, Console& console) {
  auto run = open_run(options.run);
  if (!run) return console.complain(run.error()), status_of(run.error());
  const auto evaluation = evaluate(*run->loaded.plan, *run->capture, run->record.invalid);
  const auto place = place_for_findings(run->folder);
  if (auto w = run->folder.write(place, write_findings(evaluation.findings)); !w)
    return console.complain(w.error()), harness_failed;
  tell(evaluation.findings, run->folder, console);
  console.say("findings: " + run->folder.file(place));
  return joined_status(run->record, evaluation.findings);
}

int report_command(const ReportOptions& options, Console& console) {
  auto run = open_run(options.run);
  if (!run) return console.complain(run.error()), status_of(run.error());
  const auto evaluation = evaluate(*run->loaded.plan, *run->capture, run->record.invalid);
  if (auto w = run->folder.write("report.html", report_of(run->record, run->loaded, *run->capture, evaluation)); !w)
    return console.complain(w.error()), harness_failed;
  console.say("report: " + run->folder.file("report.html"));
  console.give("{\"report\": \"" + run->folder.file("report.html") + "\"}\n");
  return joined_status(run->record, evaluation.findings);
}

}  // namespace trackrod
