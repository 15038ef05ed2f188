#pragma once
// From the files named on the command line to checked values.

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "harness/cli/console.hpp"
#include "harness/plan/plan.hpp"
#include "harness/plan/timeline.hpp"

namespace trackrod {

// Everything that this build knows, from each folder's own table.
const Catalogue& catalogue();

struct Loaded {
  Sources bench_sources, plan_sources;
  Assignments set;
  std::string from;              // step of the plan that is the first one; empty: all of it
  MadeBefore made;               // of the repeat that begins with it
  std::unique_ptr<Bench> bench;  // null when it has problems
  std::unique_ptr<Plan> plan;    // null when only a bench was asked for
  std::unique_ptr<Timeline> timeline;
};

// Checks the texts in `loaded` and fills the rest; all problems of both files at once.
void parse_sources(Loaded& loaded, Problems& problems);

// What every command with a bench and a plan begins with: reads both, or says what is wrong and gives the exit status.
std::optional<ExitStatus> load_or_complain(const std::string& bench_path, const std::string& plan_path,
                                           const std::vector<std::string>& set, Console& console, Loaded& loaded);

// Says what a person should know of the plan before it runs, besides its drawing: what its grids leave out, and what it
// lets the vehicle do that no vehicle does. The result: the same sentences.
std::vector<std::string> tell_notes(const Loaded& loaded, const Console& console);

// "--set name=value"; error kind bad_input.
Result<Assignments> parse_assignments(const std::vector<std::string>& set);

// A time given to an option, as "2 s": above zero, an hour at most. Error kind bad_input.
Result<Duration> parse_duration(const std::string& option, const std::string& text);

}  // namespace trackrod
