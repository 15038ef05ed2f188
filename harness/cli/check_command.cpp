#include <nlohmann/json.hpp>

#include "harness/cli/commands.hpp"
#include "harness/cli/load.hpp"

namespace trackrod {

int check_command(const CheckOptions& options, Console& console) {
  Loaded loaded;
  if (const auto status = load_or_complain(options.files.bench, options.files.plan, options.files.set, console, loaded))
    return *status;
  const auto& bench = *loaded.bench;
  console.say("bench '" + bench.name + "': " + std::to_string(bench.devices.size()) + " devices, " +
              std::to_string(bench.signals.size()) + " signals, " + std::to_string(bench.interlocks.size()) +
              " interlocks, loop at " + shown(1.0 / seconds(bench.tick)) + " Hz");
  nlohmann::ordered_json j{{"bench", bench.name}, {"devices", bench.devices.size()}, {"signals", bench.signals.size()}};
  if (loaded.plan) {
    console.say("plan '" + loaded.plan->name + "': " + std::to_string(loaded.timeline->step_count()) + " steps, " +
                shown_time(seconds(loaded.timeline->length())) + ", " + std::to_string(loaded.plan->criteria.size()) +
                " criteria");
    j["plan"] = loaded.plan->name;
    j["duration_s"] = seconds(loaded.timeline->length());
    j["steps"] = loaded.timeline->step_count();
  }
  console.say("no problem found; no device was touched");
  console.give(j.dump(2) + "\n");
  return all_pass;
}

}  // namespace trackrod
