#include "harness/cli/commands.hpp"
#include "harness/cli/run_plan.hpp"

namespace trackrod {

int run_command(const RunOptions& options, Console& console) {
  Loaded loaded;
  if (const auto status = load_or_complain(options.files.bench, options.files.plan, options.files.set, console, loaded))
    return *status;
  tell_notes(loaded, console);
  const auto name = confirmation(options.confirmed_by, console);
  if (!name) return console.complain(name.error()), bad_input;
  return run_plan(loaded, options.runs, *name, console);
}

}  // namespace trackrod
