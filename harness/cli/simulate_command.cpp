#include "fixtures/simulator/run_simulator.hpp"
#include "harness/cli/commands.hpp"
#include "harness/cli/load.hpp"
#include "harness/cli/truth_file.hpp"

namespace trackrod {

int simulate_command(const SimulateOptions& options, Console& console) {
  Loaded loaded;
  if (const auto status = load_or_complain(options.bench, "", {}, console, loaded)) return *status;
  const auto truth = load_truth(options.truth, options.bench, options.set, console);
  if (!truth) return bad_input;
  const auto done = run_simulator(*loaded.bench, *truth, {options.log, options.seed});
  if (!done) return console.complain(done.error()), status_of(done.error());
  return all_pass;
}

}  // namespace trackrod
