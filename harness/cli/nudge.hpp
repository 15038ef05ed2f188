#pragma once
// The first motion of a signal: small and slow, ended by an interlock when it goes the wrong way.

#include "drivers/device/live_look.hpp"
#include "harness/cli/commands.hpp"
#include "harness/cli/load.hpp"

namespace trackrod {

// Writes a plan that moves the signal out and back, adds to the bench an interlock on the sensor that should follow
// (the signal's start_from, where the bench owns it), and runs it like any other plan: same states, cautions and
// limits. Scores `polarity` of every read signal; that of the sensor that should follow is judged. Gives the exit
// status.
int nudge(const Loaded& loaded, const BenchLook& look, const NudgeOptions& options, const std::string& runs,
          const ArmingOptions& arming, Console& console);

// The files of such a run, from those of the bench. Pure. Error kind bad_input: no such driven signal, too far a way, a
// sensor without a value.
struct NudgeFiles {
  std::string bench, plan;
};
Result<NudgeFiles> nudge_files(const Loaded& loaded, const BenchLook& look, const NudgeOptions& options);

}  // namespace trackrod
