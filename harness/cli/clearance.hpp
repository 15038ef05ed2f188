#pragma once
// What must be so before anything moves: interlocks proven, the cautions read, and who stands at the bench named.

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "harness/cli/commands.hpp"
#include "harness/cli/load.hpp"

namespace trackrod {

struct Clearance {
  std::string by, and_by;  // persons; the second only where the plan's faults ask for two
  bool unattended{false};
  std::vector<std::pair<std::string, std::string>> proofs;  // interlock, and how it was proven, by whom and when
};

// A run that goes on once whatever ended it is over: when that was. Somebody has to be there now: interlocks are proven
// after that, and where the bench has none that is exercised, a name is typed at a terminal.
struct Interrupted {
  WallTime since;
};

// For the plan in `moved`, on the bench as it is described in `bench`: the same, but for a nudge, which adds an
// interlock. Says the cautions and asks at the terminal for what `arming` does not name. May block for that. Error
// kinds bad_input (with all that is missing), storage.
Result<Clearance> clearance(const Loaded& bench, const Loaded& moved, const std::string& runs,
                            const ArmingOptions& arming, const Console& console,
                            const std::optional<Interrupted>& interrupted = {});

// Asks at the terminal for a name, or gives `given`. `else_use` names the option that does without a terminal. Error
// kind bad_input.
Result<std::string> name_of_person(const std::string& question, const std::string& given, const std::string& else_use,
                                   const Console& console);

}  // namespace trackrod
