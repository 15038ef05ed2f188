#include "harness/cli/commands.hpp"
#include "harness/cli/run_plan.hpp"

namespace trackrod {

int run_command(const RunOptions& options, Console& console) {
  Loaded loaded;
  if (const auto status = load_or_complain(options.files.bench, options.files.plan, options.files.set, console, loaded))
    return *status;
  tell_notes(loaded, console);
  const auto clear = clearance(loaded, loaded, options.runs, options.arming, console);
  if (!clear) return console.complain(clear.error()), status_of(clear.error());
  return run_plan(loaded, options.runs, *clear, console);
}

}  // namespace trackrod
