// `trackrod history`: the runs that the ledger knows, and how one finding went over units and dates. It tells and
// judges nothing: its exit status says only whether it could.

#include <algorithm>
#include <filesystem>

#include "harness/base/fields.hpp"
#include "harness/cli/commands.hpp"
#include "harness/cli/history_lists.hpp"
#include "harness/cli/run_folder.hpp"
#include "harness/cli/run_ledger.hpp"
#include "harness/cli/trend.hpp"
#include "harness/report/svg.hpp"
#include "harness/report/terminal_plot.hpp"
#include "harness/report/text.hpp"

namespace trackrod {
namespace {

Result<void> check_day(const std::string& option, const std::string& text) {
  if (text.empty()) return {};
  Node node;
  node.kind = Node::Kind::text;
  node.text = text;
  Problems problems;
  std::string out;
  if (day().read(node, out, problems)) return {};
  return fail(Fault::bad_input, option + ": found '" + text + "'; allowed: a day, as 2026-11-25");
}

// A name that stands nowhere in the ledger is a slip of the pen, or a wrong folder; one that does just chose nothing.
Result<void> check_names(Ledger& ledger, const HistoryOptions& options) {
  struct Named {
    const char* option;
    const std::string& text;
    LedgerName of;
  };
  const Named all[] = {
      {"--unit", options.unit, LedgerName::unit},    {"--plan", options.plan, LedgerName::plan},
      {"--bench", options.bench, LedgerName::bench}, {"--finding", options.finding, LedgerName::finding},
      {"--step", options.step, LedgerName::step},    {"--requirement", options.requirement, LedgerName::requirement}};
  for (const auto& [option, text, of] : all) {
    if (text.empty()) continue;
    const auto known = ledger.names(of);
    if (!known) return tl::unexpected<Error>{known.error()};
    if (std::find(known->begin(), known->end(), text) != known->end()) continue;
    constexpr std::size_t shown_names = 12;
    auto few = *known;
    few.resize(std::min(few.size(), shown_names));
    const auto advice = did_you_mean(text, *known);
    return fail(Fault::bad_input,
                std::string{option} + ": no run in the ledger has '" + text + "'" +
                    (!advice.empty() ? "; " + advice
                     : few.empty()   ? ""
                                     : "; there is " + one_of(few) +
                                         (known->size() > few.size()
                                              ? " and " + std::to_string(known->size() - few.size()) + " more"
                                              : "")));
  }
  return {};
}

HistoryFilter filter_of(const HistoryOptions& o) {
  HistoryFilter f;
  f.unit = o.unit;
  f.plan = o.plan;
  f.bench = o.bench;
  f.since = o.since;
  f.until = o.until;
  f.finding = o.finding;
  f.step = o.step;
  f.requirement = o.requirement;
  f.every_scoring = o.every_scoring;
  return f;
}

// Says how many rehearsals were left out.
template <class Line>
void leave_out_rehearsals(std::vector<Line>& lines, const HistoryOptions& options, const Console& console) {
  if (options.rehearsals) return;
  const auto left_out = std::erase_if(lines, [](const Line& line) { return line.run.rehearsal; });
  if (left_out > 0)
    console.say(std::to_string(left_out) + (options.finding.empty() ? "" : " of") + " rehearsal" +
                (left_out > 1 || !options.finding.empty() ? "s" : "") + " left out; --rehearsals shows " +
                (left_out > 1 ? "them" : "it") + " too");
}

void say_plain(const std::string& text, const Console& console) {
  console.say(console.unicode() ? text : ascii_only(text));
}

Result<void> write_csv(const std::string& path, const std::string& text, const Console& console) {
  if (path.empty()) return {};
  if (auto written = write_text(path, text); !written) return written;
  console.say("values: " + path);
  return {};
}

Result<void> list_runs(Ledger& ledger, const HistoryOptions& options, const Console& console) {
  auto runs = ledger.runs(filter_of(options));
  if (!runs) return tl::unexpected<Error>{runs.error()};
  if (!options.verdict.empty())
    std::erase_if(*runs, [&](const HistoryRun& line) {
      const auto worst = overall(tally_of(line.verdicts));
      return !worst || verdict_name(*worst) != options.verdict;
    });
  if (runs->empty()) console.say("no such run");
  leave_out_rehearsals(*runs, options, console);
  if (!runs->empty()) say_plain(runs_table(*runs), console);
  console.give(runs_json(*runs));
  return write_csv(options.csv, runs_csv(*runs), console);
}

Result<void> draw(const std::vector<HistoryFinding>& findings, const HistoryOptions& options, const Console& console) {
  if (!options.plot && options.svg.empty()) return {};
  const auto figure = trend_figure(findings);
  if (!figure) return tl::unexpected<Error>{figure.error()};
  if (options.plot) console.say(draw_terminal(*figure, {console.width(), 16, console.unicode()}));
  if (options.svg.empty()) return {};
  if (auto written = write_text(options.svg, draw_svg(*figure)); !written) return written;
  console.say("picture: " + options.svg);
  return {};
}

Result<void> show_trend(Ledger& ledger, const HistoryOptions& options, const Console& console) {
  auto filter = filter_of(options);
  filter.verdict = options.verdict;
  auto findings = ledger.findings(filter);
  if (!findings) return tl::unexpected<Error>{findings.error()};
  if (findings->empty()) console.say("no such finding");
  leave_out_rehearsals(*findings, options, console);
  if (!findings->empty()) say_plain(trend_table(*findings), console);
  console.give(trend_json(*findings));
  if (auto written = write_csv(options.csv, trend_csv(*findings), console); !written) return written;
  return findings->empty() ? Result<void>{} : draw(*findings, options, console);
}

// Where the ledger and the folders do not agree, the folders are right.
void tell_gaps(Ledger& ledger, const RunLedger& which, const Console& console) {
  const auto gaps = ledger_gaps(ledger, which);
  if (!gaps) return;  // a ledger elsewhere is read without its folders
  const auto tell = [&](const std::vector<std::string>& names, const std::string& one, const std::string& many) {
    if (!names.empty())
      console.say("note: " + (names.size() == 1 ? one : std::to_string(names.size()) + " " + many) + " (" +
                  (names.size() > 1 ? "the last: " : "") + names.back() + ")");
  };
  tell(gaps->not_entered, "a run folder is not in the ledger", "run folders are not in the ledger");
  tell(gaps->gone, "the folder of a run in the ledger is gone", "folders of runs in the ledger are gone");
  if (!gaps->not_entered.empty() || !gaps->gone.empty())
    console.say("note: unless a run is under way just now, make the ledger again: trackrod history --rebuild '" +
                which.runs + "'");
}

Result<void> rebuild(const RunLedger& which, Console& console) {
  const auto entered = rebuild_ledger(which, console);
  if (!entered) return tl::unexpected<Error>{entered.error()};
  console.say(which.at.words() + " was made again: " + std::to_string(*entered) + " run" + (*entered == 1 ? "" : "s"));
  return {};
}

Result<void> history(const HistoryOptions& options, Console& console) {
  for (const auto& [option, text] : {std::pair{"--since", &options.since}, std::pair{"--until", &options.until}})
    if (auto good = check_day(option, *text); !good) return good;
  const auto which = RunLedger::of(options.runs, options.ledger);
  if (!which) return tl::unexpected<Error>{which.error()};
  if (options.rebuild)
    if (auto done = rebuild(*which, console); !done) return done;
  auto ledger = Ledger::open(which->at, false);
  if (!ledger) return tl::unexpected<Error>{ledger.error()};
  if (auto known = check_names(*ledger, options); !known) return known;
  auto shown = options.finding.empty() ? list_runs(*ledger, options, console) : show_trend(*ledger, options, console);
  if (shown) tell_gaps(*ledger, *which, console);
  return shown;
}

// What helps: the folders hold everything.
std::string advice(const Error& error, const HistoryOptions& options) {
  const auto rebuilt = "trackrod history --rebuild '" + options.runs + "'";
  if (error.fault == Fault::bad_frame) return ". Make it again from the run folders: " + rebuilt;
  if (error.fault == Fault::bad_input && error.context.ends_with("is not there"))
    return "; name the folder of the runs, or make the ledger from the run folders in it: " + rebuilt;
  return "";
}

}  // namespace

int history_command(const HistoryOptions& options, Console& console) {
  const auto shown = history(options, console);
  if (shown) return all_pass;
  console.complain(shown.error().context + advice(shown.error(), options));
  return status_of(shown.error());
}

}  // namespace trackrod
