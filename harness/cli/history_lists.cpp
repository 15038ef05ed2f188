#include "harness/cli/history_lists.hpp"

#include <algorithm>
#include <charconv>
#include <nlohmann/json.hpp>

#include "harness/cli/ledger_finding.hpp"
#include "harness/report/csv.hpp"
#include "harness/report/findings_json.hpp"
#include "harness/report/rounding.hpp"
#include "harness/report/text.hpp"

namespace trackrod {
namespace {

using Json = nlohmann::ordered_json;

std::string kind_of(const RunEntry& run) { return run.imported ? "recording" : run.rehearsal ? "rehearsal" : "run"; }

std::string ended_of(const RunEntry& run) {
  if (run.imported) return "-";
  if (run.refused) return "refused";
  if (run.tripped) return "tripped";
  if (run.ended.empty()) return "without a word";
  return run.as_planned ? "as planned" : "cut short";
}

std::string when_of(const RunEntry& run) {
  return run.started.empty() ? run.day + (run.imported ? " (imported)" : "") : shown_minute(run.started);
}

std::string verdict_of(const HistoryRun& line) {
  const auto worst = overall(tally_of(line.verdicts));
  return worst ? verdict_name(*worst) : "";
}

// "1 fail, 3 pass": what there is of it, the worst first.
std::string counts_of(const HistoryRun& line) {
  if (line.scoring == 0) return "never scored";
  const auto t = tally_of(line.verdicts);
  std::string text;
  for (const auto& [count, words] :
       {std::pair{t.invalid, "invalid"}, std::pair{t.fail, "fail"}, std::pair{t.inconclusive, "inconclusive"},
        std::pair{t.not_run, "not run"}, std::pair{t.pass, "pass"}, std::pair{t.unjudged, "without a limit"}})
    if (count > 0) text += (text.empty() ? "" : ", ") + std::to_string(count) + " " + words;
  return text.empty() ? "no findings" : text;
}

std::string joined(const std::vector<std::string>& names) {
  std::string text;
  for (const auto& name : names) text += (text.empty() ? "" : ", ") + name;
  return text;
}

std::string joined(const std::vector<std::pair<std::string, std::string>>& pairs) {
  std::string text;
  for (const auto& [name, value] : pairs) text += (text.empty() ? "" : ", ") + name + " " + value;
  return text;
}

// A column of a table; one that tells nothing can be left out.
template <class Line>
struct Column {
  std::string head;
  bool always;
  std::string (*of)(const Line&);
};

template <class Line, std::size_t n>
std::string table(const std::vector<Line>& lines, const Column<Line> (&columns)[n]) {
  std::vector<std::vector<std::string>> rows(lines.size() + 1);
  for (const auto& column : columns) {
    std::vector<std::string> cells;
    for (const auto& line : lines) cells.push_back(column.of(line));
    if (!column.always && std::adjacent_find(cells.begin(), cells.end(), std::not_equal_to<>{}) == cells.end())
      continue;
    rows[0].push_back(column.head);
    for (std::size_t i = 0; i < cells.size(); ++i) rows[i + 1].push_back(cells[i].empty() ? "-" : cells[i]);
  }
  auto text = grid(rows);
  text.pop_back();
  return text;
}

template <class Line, std::size_t n>
std::string csv(const std::vector<Line>& lines, const Column<Line> (&columns)[n]) {
  std::vector<std::string> heads;
  for (const auto& column : columns) heads.push_back(column.head);
  auto text = csv_line(heads);
  for (const auto& line : lines) {
    std::vector<std::string> fields;
    for (const auto& column : columns) fields.push_back(column.of(line));
    text += csv_line(fields);
  }
  return text;
}

// The shortest text that reads back as the same number.
std::string digits(const std::optional<double>& value) {
  if (!value) return "";
  char text[32];
  return {text, std::to_chars(text, text + sizeof text, *value).ptr};
}

using Pairs = std::vector<std::pair<std::string, std::string>>;
using R = HistoryRun;
using F = HistoryFinding;

constexpr auto yes_no = [](bool flag) -> std::string { return flag ? "yes" : "no"; };

const Column<R> run_columns_shown[] = {
    {"WHEN", true, [](const R& l) { return when_of(l.run); }},
    {"UNIT", true, [](const R& l) { return l.run.unit; }},
    {"SOFTWARE", false, [](const R& l) { return l.run.software; }},
    {"BENCH", false, [](const R& l) { return l.run.bench; }},
    {"PLAN", true, [](const R& l) { return l.plan; }},
    {"KIND", false, [](const R& l) { return kind_of(l.run); }},
    {"ENDED", true, [](const R& l) { return ended_of(l.run); }},
    {"VERDICT", true, verdict_of},
    {"FINDINGS", true, counts_of},
    {"SCORING", false,
     [](const R& l) {
       return l.scorings > 1 ? std::to_string(l.scoring) + " of " + std::to_string(l.scorings) : std::string{};
     }},
    {"RUN", true, [](const R& l) { return l.run.folder; }},
};

const Column<R> run_columns_written[] = {
    {"started", true, [](const R& l) { return l.run.started; }},
    {"ended", true, [](const R& l) { return l.run.ended; }},
    {"run", true, [](const R& l) { return l.run.run; }},
    {"folder", true, [](const R& l) { return l.run.folder; }},
    {"kind", true, [](const R& l) { return kind_of(l.run); }},
    {"unit", true, [](const R& l) { return l.run.unit; }},
    {"unit_name", true, [](const R& l) { return l.run.unit_name; }},
    {"software", true, [](const R& l) { return l.run.software; }},
    {"bench", true, [](const R& l) { return l.run.bench; }},
    {"plan", true, [](const R& l) { return l.plan; }},
    {"program", true, [](const R& l) { return l.run.program; }},
    {"as_planned", true, [](const R& l) { return l.run.imported ? std::string{} : yes_no(l.run.as_planned); }},
    {"ending", true, [](const R& l) { return l.run.ending; }},
    {"scoring", true, [](const R& l) { return l.scoring > 0 ? std::to_string(l.scoring) : std::string{}; }},
    {"verdict", true, verdict_of},
    {"pass", true, [](const R& l) { return std::to_string(tally_of(l.verdicts).pass); }},
    {"fail", true, [](const R& l) { return std::to_string(tally_of(l.verdicts).fail); }},
    {"inconclusive", true, [](const R& l) { return std::to_string(tally_of(l.verdicts).inconclusive); }},
    {"not_run", true, [](const R& l) { return std::to_string(tally_of(l.verdicts).not_run); }},
    {"invalid", true, [](const R& l) { return std::to_string(tally_of(l.verdicts).invalid); }},
    {"without_limit", true, [](const R& l) { return std::to_string(tally_of(l.verdicts).unjudged); }},
};

// Of the conditions only those that tell apart what is alike else: many are measured, and differ in each run.
struct Shown {
  const F& line;
  std::string conditions;
};

bool same_scoring(const F& a, const F& b) {
  return a.run.place == b.run.place && a.run.run == b.run.run && a.scoring == b.scoring;
}

bool alike(const F& a, const F& b) {
  return a.finding.step == b.finding.step && a.finding.signals == b.finding.signals;
}

std::vector<Shown> shown_lines(const std::vector<F>& findings) {
  std::vector<Shown> out;
  for (auto begin = findings.begin(), end = begin; begin != findings.end(); begin = end) {
    end = std::find_if(begin, findings.end(), [&](const F& line) { return !same_scoring(line, *begin); });
    for (auto line = begin; line != end; ++line) {
      Pairs telling;
      for (const auto& condition : line->finding.conditions)
        if (std::any_of(begin, end, [&](const F& other) {
              const auto& theirs = other.finding.conditions;
              return alike(*line, other) && std::find(theirs.begin(), theirs.end(), condition) == theirs.end();
            }))
          telling.push_back(condition);
      out.push_back({*line, joined(telling)});
    }
  }
  return out;
}

using S = Shown;

const Column<S> finding_columns_shown[] = {
    {"WHEN", true, [](const S& s) { return when_of(s.line.run); }},
    {"UNIT", true, [](const S& s) { return s.line.run.unit; }},
    {"SOFTWARE", false, [](const S& s) { return s.line.run.software; }},
    {"BENCH", false, [](const S& s) { return s.line.run.bench; }},
    {"PLAN", false, [](const S& s) { return s.line.plan; }},
    {"KIND", false, [](const S& s) { return kind_of(s.line.run); }},
    {"SCORING", false, [](const S& s) { return std::to_string(s.line.scoring); }},
    {"STEP", true, [](const S& s) { return s.line.finding.step; }},
    {"SIGNALS", false, [](const S& s) { return joined(s.line.finding.signals); }},
    {"CONDITIONS", false, [](const S& s) { return s.conditions; }},
    {"VALUE", true, [](const S& s) { return value_text(from_ledger(s.line.finding)); }},
    {"INTERVAL", true, [](const S& s) { return interval_text(from_ledger(s.line.finding)); }},
    {"LIMIT", true,
     [](const S& s) { return s.line.finding.limit_kind.empty() ? "" : limit_text(from_ledger(s.line.finding)); }},
    {"VERDICT", true, [](const S& s) { return s.line.finding.verdict; }},
    {"RUN", true, [](const S& s) { return s.line.run.folder; }},
};

const Column<F> finding_columns_written[] = {
    {"started", true, [](const F& l) { return l.run.started; }},
    {"run", true, [](const F& l) { return l.run.run; }},
    {"kind", true, [](const F& l) { return kind_of(l.run); }},
    {"unit", true, [](const F& l) { return l.run.unit; }},
    {"unit_name", true, [](const F& l) { return l.run.unit_name; }},
    {"software", true, [](const F& l) { return l.run.software; }},
    {"bench", true, [](const F& l) { return l.run.bench; }},
    {"plan", true, [](const F& l) { return l.plan; }},
    {"program", true, [](const F& l) { return l.run.program; }},
    {"scoring", true, [](const F& l) { return std::to_string(l.scoring); }},
    {"finding", true, [](const F& l) { return l.finding.name; }},
    {"step", true, [](const F& l) { return l.finding.step; }},
    {"signals", true, [](const F& l) { return joined(l.finding.signals); }},
    {"conditions", true, [](const F& l) { return joined(l.finding.conditions); }},
    {"value", true, [](const F& l) { return digits(l.finding.value); }},
    {"value_unit", true, [](const F& l) { return l.finding.unit; }},
    {"standard_uncertainty", true, [](const F& l) { return digits(l.finding.standard_uncertainty); }},
    {"low", true, [](const F& l) { return digits(l.finding.low); }},
    {"high", true, [](const F& l) { return digits(l.finding.high); }},
    {"coverage", true, [](const F& l) { return digits(l.finding.coverage); }},
    {"limit", true, [](const F& l) { return l.finding.limit_kind; }},
    {"limit_low", true, [](const F& l) { return digits(l.finding.limit_low); }},
    {"limit_high", true, [](const F& l) { return digits(l.finding.limit_high); }},
    {"rule", true, [](const F& l) { return l.finding.rule; }},
    {"requirement", true, [](const F& l) { return l.finding.requirement; }},
    {"verdict", true, [](const F& l) { return l.finding.verdict; }},
    {"reason", true, [](const F& l) { return l.finding.reason; }},
};

Json text_or_null(const std::string& text) { return text.empty() ? Json(nullptr) : Json(text); }

Json run_json(const RunEntry& run) {
  return {{"run", run.run},
          {"folder", run.folder},
          {"place", text_or_null(run.place)},
          {"kind", kind_of(run)},
          {"started", text_or_null(run.started)},
          {"ended", text_or_null(run.ended)},
          {"unit",
           {{"serial", run.unit},
            {"name", run.unit_name},
            {"software", text_or_null(run.software)},
            {"part_number", text_or_null(run.part_number)}}},
          {"bench", {{"name", run.bench}, {"sha256", run.bench_hash}}},
          {"plan", {{"name", text_or_null(run.plan)}, {"sha256", text_or_null(run.plan_hash)}}},
          {"program", run.program},
          {"as_planned", run.imported ? Json(nullptr) : Json(run.as_planned)},
          {"ending", run.ending}};
}

}  // namespace

Tally tally_of(const std::vector<VerdictCount>& counts) {
  Tally tally;
  for (const auto& c : counts) {
    const auto verdict = verdict_named(c.verdict);
    auto& count = !verdict                            ? tally.unjudged
                  : *verdict == Verdict::pass         ? tally.pass
                  : *verdict == Verdict::fail         ? tally.fail
                  : *verdict == Verdict::inconclusive ? tally.inconclusive
                  : *verdict == Verdict::not_run      ? tally.not_run
                                                      : tally.invalid;
    count += static_cast<std::size_t>(c.count);
  }
  return tally;
}

std::string shown_minute(const std::string& iso) {
  auto text = iso.substr(0, std::string{"2026-11-25T14:03"}.size());
  std::replace(text.begin(), text.end(), 'T', ' ');
  return text;
}

std::string runs_table(const std::vector<HistoryRun>& runs) { return table(runs, run_columns_shown); }
std::string runs_csv(const std::vector<HistoryRun>& runs) { return csv(runs, run_columns_written); }
std::string trend_table(const std::vector<HistoryFinding>& findings) {
  return table(shown_lines(findings), finding_columns_shown);
}
std::string trend_csv(const std::vector<HistoryFinding>& findings) { return csv(findings, finding_columns_written); }

std::string runs_json(const std::vector<HistoryRun>& runs) {
  auto list = Json::array();
  for (const auto& line : runs) {
    auto j = run_json(line.run);
    const auto t = tally_of(line.verdicts);
    j["scoring"] = line.scoring > 0 ? Json(line.scoring) : Json(nullptr);
    j["verdict"] = text_or_null(verdict_of(line));
    j["findings"] = {{"pass", t.pass},       {"fail", t.fail},       {"inconclusive", t.inconclusive},
                     {"not_run", t.not_run}, {"invalid", t.invalid}, {"without_limit", t.unjudged}};
    list.push_back(std::move(j));
  }
  return Json{{"runs", list}}.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

std::string trend_json(const std::vector<HistoryFinding>& findings) {
  std::vector<Finding> plain;
  for (const auto& line : findings) plain.push_back(from_ledger(line.finding));
  auto j = Json::parse(write_findings(plain));
  for (std::size_t i = 0; i < findings.size(); ++i) {
    auto& finding = j["findings"][i];
    finding.erase("budget");  // stands in the run's folder
    finding["scoring"] = findings[i].scoring;
    finding["of"] = run_json(findings[i].run);
  }
  return j.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace trackrod
