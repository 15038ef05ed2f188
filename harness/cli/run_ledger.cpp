#include "harness/cli/run_ledger.hpp"

#include <unistd.h>

#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <map>

#include "harness/cli/run_entry.hpp"

namespace trackrod {
namespace {

namespace fs = std::filesystem;

std::string machine() {
  char name[256] = "";
  return gethostname(name, sizeof name - 1) == 0 ? name : "unknown";
}

std::string whole_path(const std::string& path) {
  std::error_code none;
  auto whole = fs::weakly_canonical(fs::absolute(path, none), none).string();
  while (whole.size() > 1 && whole.back() == '/') whole.pop_back();
  return whole;
}

// Names of the run folders in there, in the order of their names, which is about that of time.
Result<std::vector<std::string>> run_folders(const std::string& runs) {
  std::vector<std::string> names;
  std::error_code os;
  for (fs::directory_iterator it{runs, os}, end; !os && it != end; it.increment(os))
    if (std::error_code none; fs::exists(it->path() / "run.json", none))
      names.push_back(it->path().filename().string());
  if (os) return fail_os(Fault::bad_input, "the folder of runs '" + runs + "' does not read", os.value());
  std::sort(names.begin(), names.end());
  return names;
}

Result<RunEntry> entry_in(const RunLedger& which, const std::string& name) {
  auto folder = RunFolder::open(which.runs + "/" + name);
  if (!folder) return tl::unexpected<Error>{folder.error()};
  auto entry = run_entry(*folder);
  if (entry) entry->place = which.place;
  return entry;
}

// A file of SQLite with what belongs to it, under a name that tells when.
Result<std::string> set_aside(const std::string& file) {
  auto when = shown_wall_time(std::chrono::system_clock::now()).substr(0, std::string{"2026-11-25T14:03:12"}.size());
  std::erase(when, ':');
  const auto name = file + ".damaged-" + when;
  for (const auto* part : {"-wal", "-shm", ""}) {
    std::error_code os;
    if (fs::exists(file + part, os)) fs::rename(file + part, name + part, os);
    if (os) return fail_os(Fault::storage, "the damaged ledger '" + file + part + "' cannot be renamed", os.value());
  }
  return name;
}

Result<std::size_t> rebuild_in(Ledger& ledger, const RunLedger& which, const std::vector<std::string>& names,
                               Console& console) {
  std::size_t entered = 0;
  auto done = ledger.change([&](Ledger::Change& change) -> Result<void> {
    change.forget_all(which.place);
    std::map<std::string, std::string> known;  // run -> folder
    for (const auto& name : names) {
      const auto entry = entry_in(which, name);
      if (!entry) {
        console.complain("left out: " + entry.error().context);
        continue;
      }
      if (const auto [twin, first] = known.emplace(entry->run, name); !first) {
        console.complain("left out: '" + name + "' is a copy of the run in '" + twin->second + "'");
        continue;
      }
      change.enter(*entry);
      if (++entered % 100 == 0)
        console.progress(std::to_string(entered) + " of " + std::to_string(names.size()) + " runs");
    }
    return {};
  });
  console.end_progress();
  if (!done) return tl::unexpected<Error>{done.error()};
  return entered;
}

}  // namespace

Result<RunLedger> RunLedger::of(const std::string& runs, const std::string& connection) {
  const char* variable = std::getenv(ledger_variable);
  const std::string named = connection.empty() && variable != nullptr ? variable : connection;
  if (named.empty()) return RunLedger{LedgerAt::beside(runs), runs, ""};
  auto at = LedgerAt::named(named);
  if (!at) return tl::unexpected<Error>{Error{at.error()}.within(connection.empty() ? ledger_variable : "--ledger")};
  return RunLedger{*at, runs, machine() + ":" + whole_path(runs)};
}

void enter_run(const RunFolder& folder, WithoutLedger without, const Console& console) {
  const auto whole = fs::path{whole_path(folder.path())};
  const auto runs = whole.parent_path().string();
  const auto enter = [&]() -> Result<void> {
    auto which = RunLedger::of(runs, "");
    if (!which) return tl::unexpected<Error>{which.error()};
    if (without == WithoutLedger::let_be && which->at.sqlite() && !fs::exists(which->at.file())) return {};
    auto ledger = Ledger::open(which->at, true);
    if (!ledger) return tl::unexpected<Error>{ledger.error()};
    return ledger->change([&](Ledger::Change& change) -> Result<void> {
      const auto entry = entry_in(*which, whole.filename().string());
      if (!entry) return tl::unexpected<Error>{entry.error()};
      change.enter(*entry);
      return {};
    });
  };
  if (const auto entered = enter(); !entered)
    console.complain("the run is not in the ledger: " + entered.error().context +
                     ". Its folder has everything; once that is mended: trackrod history --rebuild '" + runs + "'");
}

Result<std::size_t> rebuild_ledger(const RunLedger& which, Console& console) {
  const auto names = run_folders(which.runs);
  if (!names) return tl::unexpected<Error>{names.error()};
  const auto attempt = [&]() -> Result<std::size_t> {
    auto ledger = Ledger::open(which.at, true);
    if (!ledger) return tl::unexpected<Error>{ledger.error()};
    if (auto whole = ledger->whole(); !whole) return tl::unexpected<Error>{whole.error()};
    return rebuild_in(*ledger, which, *names, console);
  };
  auto entered = attempt();
  if (entered || entered.error().fault != Fault::bad_frame || !which.at.sqlite()) return entered;
  const auto aside = set_aside(which.at.file());
  if (!aside) return tl::unexpected<Error>{aside.error()};
  console.say(entered.error().context + "; it is now '" + *aside + "'");
  return attempt();
}

Result<LedgerGaps> ledger_gaps(Ledger& ledger, const RunLedger& which) {
  const auto entered = ledger.folders(which.place);
  if (!entered) return tl::unexpected<Error>{entered.error()};
  const auto folders = run_folders(which.runs);
  if (!folders) return tl::unexpected<Error>{folders.error()};
  std::vector<std::string> in_ledger;
  for (const auto& e : *entered) in_ledger.push_back(e.folder);
  std::sort(in_ledger.begin(), in_ledger.end());
  LedgerGaps gaps;
  std::set_difference(folders->begin(), folders->end(), in_ledger.begin(), in_ledger.end(),
                      std::back_inserter(gaps.not_entered));
  std::set_difference(in_ledger.begin(), in_ledger.end(), folders->begin(), folders->end(),
                      std::back_inserter(gaps.gone));
  return gaps;
}

}  // namespace trackrod
