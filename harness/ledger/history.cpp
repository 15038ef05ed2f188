// What the ledger tells.

#include <map>
#include <tuple>

#include "harness/ledger/columns.hpp"
#include "harness/ledger/state.hpp"
#include "harness/ledger/statement.hpp"

namespace trackrod {
namespace {

// "and a and b", with the values that belong to it.
struct Conditions {
  std::string sql;
  std::vector<std::pair<std::string, std::string>> values;

  // `test` names its value :name.
  void add(const std::string& test, const std::string& name, const std::string& value) {
    if (value.empty()) return;
    sql += " and " + test;
    values.emplace_back(name, value);
  }
  void give_to(Question& question) const {
    for (const auto& [name, value] : values) question.value(name, value);
  }
};

Conditions of_runs(const HistoryFilter& filter) {
  Conditions c;
  c.add("(r.unit = :unit or r.unit_name = :unit)", "unit", filter.unit);
  c.add("coalesce(s.plan, r.plan) = :plan", "plan", filter.plan);
  c.add("r.bench = :bench", "bench", filter.bench);
  c.add("r.day >= :since", "since", filter.since);
  c.add("r.day <= :until", "until", filter.until);
  return c;
}

// Of findings in the table f.
Conditions of_findings(const HistoryFilter& filter) {
  Conditions c;
  c.add("f.name = :finding", "finding", filter.finding);
  c.add("f.step = :step", "step", filter.step);
  c.add("f.requirement = :requirement", "requirement", filter.requirement);
  c.add("f.verdict = :verdict", "verdict", filter.verdict);
  return c;
}

void ask_for_run(Question& question, RunEntry& run) {
  question.prefix = "r.";
  question("place", run.place);
  question("run", run.run);
  run_columns(run, question);
}

// One member after the other out of a row.
struct Reading {
  Question& question;
  template <class T>
  void operator()(const char*, T& member) {
    question.read(member);
  }
};

void read_run(Question& question, RunEntry& run) {
  Reading reading{question};
  question.read(run.place);
  question.read(run.run);
  run_columns(run, reading);
}

using ScoringKey = std::tuple<std::string, std::string, int>;  // place, run, scoring

std::map<ScoringKey, std::vector<VerdictCount>> counted(Connection& connection, const HistoryFilter& filter) {
  std::map<ScoringKey, std::vector<VerdictCount>> out;
  const auto conditions = of_findings(filter);
  Question question{connection};
  std::string place, run;
  int scoring = 0;
  VerdictCount counts;
  question("place", place);
  question("run", run);
  question("scoring", scoring);
  question("verdict", counts.verdict);
  question("count(*)", counts.count);
  conditions.give_to(question);
  question.ask("from findings f where 1 = 1" + conditions.sql + " group by place, run, scoring, verdict");
  while (question.next()) {
    question.read(place);
    question.read(run);
    question.read(scoring);
    question.read(counts.verdict);
    question.read(counts.count);
    out[{place, run, scoring}].push_back(counts);
  }
  return out;
}

constexpr char in_order[] = " order by r.at, r.place, r.run, s.scoring";

std::vector<HistoryRun> runs_of(Connection& connection, const HistoryFilter& filter) {
  const auto counts = counted(connection, filter);
  const bool asks_findings = !of_findings(filter).values.empty();
  const auto conditions = of_runs(filter);
  HistoryRun line;
  Question question{connection};
  ask_for_run(question, line.run);
  question.prefix = "";
  question("s.scoring", line.scoring);
  question("coalesce(s.plan, r.plan)", line.plan);
  question("(select max(t.scoring) from scorings t where t.place = r.place and t.run = r.run)", line.scorings);
  conditions.give_to(question);
  question.ask("from runs r left join scorings s on s.place = r.place and s.run = r.run where 1 = 1" + conditions.sql +
               in_order);
  std::vector<HistoryRun> out;
  while (question.next()) {
    read_run(question, line.run);
    question.read(line.scoring);
    question.read(line.plan);
    question.read(line.scorings);
    const auto found = counts.find({line.run.place, line.run.run, line.scoring});
    if (asks_findings && found == counts.end()) continue;
    line.verdicts = found == counts.end() ? std::vector<VerdictCount>{} : found->second;
    const bool replaces = !filter.every_scoring && !out.empty() && out.back().run.run == line.run.run &&
                          out.back().run.place == line.run.place;
    if (replaces)
      out.back() = line;
    else
      out.push_back(line);
  }
  return out;
}

// Counts whatever the filter lets through, so that it is the same number each time.
constexpr char same_before[] =
    "(select count(*) from findings h where h.place = f.place and h.run = f.run and h.scoring = f.scoring and "
    "h.name = f.name and coalesce(h.step, '') = coalesce(f.step, '') and h.signals = f.signals and "
    "h.number <= f.number)";

std::vector<HistoryFinding> findings_of(Connection& connection, const HistoryFilter& filter) {
  auto conditions = of_runs(filter);
  const auto more = of_findings(filter);
  conditions.sql += more.sql;
  conditions.values.insert(conditions.values.end(), more.values.begin(), more.values.end());
  if (!filter.every_scoring)
    conditions.sql +=
        " and f.scoring = (select max(g.scoring) from findings g where g.place = f.place and g.run = f.run "
        "and g.name = f.name)";
  HistoryFinding line;
  Question question{connection};
  ask_for_run(question, line.run);
  question.prefix = "f.";
  finding_columns(line.finding, question);
  question.prefix = "";
  question("s.scoring", line.scoring);
  question("coalesce(s.plan, r.plan)", line.plan);
  question(same_before, line.ordinal);
  conditions.give_to(question);
  question.ask(
      "from runs r join scorings s on s.place = r.place and s.run = r.run join findings f on f.place = s.place "
      "and f.run = s.run and f.scoring = s.scoring where 1 = 1" +
      conditions.sql + in_order + ", f.number");
  std::vector<HistoryFinding> out;
  while (question.next()) {
    read_run(question, line.run);
    Reading reading{question};
    finding_columns(line.finding, reading);
    question.read(line.scoring);
    question.read(line.plan);
    question.read(line.ordinal);
    out.push_back(line);
  }
  return out;
}

std::vector<std::string> names_of(Connection& connection, LedgerName of) {
  std::vector<std::string> out;
  const auto add = [&](const char* column, const std::string& table) {
    Question question{connection};
    std::string name;
    question(column, name);
    question.ask("from " + table + " where " + column + " is not null group by " + column + " order by " + column);
    while (question.next()) question.read(name), out.push_back(name);
  };
  switch (of) {
    case LedgerName::unit:
      add("unit", "runs");
      add("unit_name", "runs");
      break;
    case LedgerName::plan:
      add("plan", "runs");
      add("plan", "scorings");
      break;
    case LedgerName::bench:
      add("bench", "runs");
      break;
    case LedgerName::finding:
      add("name", "findings");
      break;
    case LedgerName::step:
      add("step", "findings");
      break;
    case LedgerName::requirement:
      add("requirement", "findings");
      break;
  }
  return out;
}

std::vector<EnteredFolder> folders_of(Connection& connection, const std::string& place) {
  std::vector<EnteredFolder> out;
  EnteredFolder folder;
  Question question{connection};
  question("run", folder.run);
  question("folder", folder.folder);
  question.value("place", place);
  question.ask("from runs where place = :place order by folder");
  while (question.next()) question.read(folder.run), question.read(folder.folder), out.push_back(folder);
  return out;
}

// What `ask` gives, or the error that its exception stands for.
template <class Ask>
auto told(Connection& connection, Ask&& ask) -> Result<decltype(ask())> {
  try {
    return ask();
  } catch (const std::exception& e) {
    return tl::unexpected<Error>{error_of(connection.at, e)};
  }
}

}  // namespace

Result<std::vector<HistoryRun>> Ledger::runs(const HistoryFilter& filter) {
  return told(*state_->connection, [&] { return runs_of(*state_->connection, filter); });
}

Result<std::vector<HistoryFinding>> Ledger::findings(const HistoryFilter& filter) {
  return told(*state_->connection, [&] { return findings_of(*state_->connection, filter); });
}

Result<std::vector<std::string>> Ledger::names(LedgerName of) {
  return told(*state_->connection, [&] { return names_of(*state_->connection, of); });
}

Result<std::vector<EnteredFolder>> Ledger::folders(const std::string& place) {
  return told(*state_->connection, [&] { return folders_of(*state_->connection, place); });
}

}  // namespace trackrod
