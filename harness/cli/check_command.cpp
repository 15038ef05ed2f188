// `trackrod check`: reads a bench, and a plan against it; with --live, looks at the bench itself.

#include <nlohmann/json.hpp>

#include "harness/cli/commands.hpp"
#include "harness/cli/live_table.hpp"
#include "harness/cli/load.hpp"
#include "harness/cli/nudge.hpp"
#include "harness/cli/run_folder.hpp"
#include "harness/cli/shift.hpp"
#include "harness/load/stiffness.hpp"
#include "harness/plan/injected.hpp"

namespace trackrod {
namespace {

// How far the load model is from making the bench swing.
nlohmann::ordered_json describe_load(const LoadSpec& load, const Console& console) {
  const double asked = greatest_stiffness(load.vehicle);
  const auto in_words = [](double stiffness) { return shown(1e-3 * stiffness, 4) + " kN/m"; };
  nlohmann::ordered_json j{{"stiffness_N_per_m", asked}};
  if (!load.stability) {
    console.say("note: the load model's vehicle is up to " + in_words(asked) +
                " stiff at the rack, and nothing says what the bench bears: measure delay and damping of the loop and "
                "write them into 'stability'");
    return j;
  }
  const double most = load.stability->most_stiffness();
  console.say("load model: up to " + in_words(asked) + " stiff at the rack, of " + in_words(most) +
              " allowed (half of damping by delay): margin " + shown(most / asked, 3));
  j["allowed_N_per_m"] = most;
  j["margin"] = most / asked;
  return j;
}

nlohmann::ordered_json describe(const Loaded& loaded, const Console& console) {
  const auto& bench = *loaded.bench;
  console.say("bench '" + bench.name + "': " + std::to_string(bench.devices.size()) + " devices, " +
              std::to_string(bench.signals.size()) + " signals, " + std::to_string(bench.interlocks.size()) +
              " interlocks, loop at " + shown(1.0 / seconds(bench.tick)) + " Hz");
  nlohmann::ordered_json j{{"bench", bench.name}, {"devices", bench.devices.size()}, {"signals", bench.signals.size()}};
  std::string to_prove;
  for (const auto& interlock : bench.interlocks)
    if (interlock.proof != Proof::none) to_prove += (to_prove.empty() ? "'" : ", '") + interlock.name + "'";
  if (!to_prove.empty()) console.say("proven each shift before it moves (check --shift): " + to_prove);
  if (bench.load) j["load"] = describe_load(*bench.load, console);
  if (loaded.plan) {
    console.say("plan '" + loaded.plan->name + "': " + std::to_string(loaded.timeline->step_count()) + " steps, " +
                shown_time(seconds(loaded.timeline->length())) + ", " + std::to_string(loaded.plan->criteria.size()) +
                " criteria");
    j["plan"] = loaded.plan->name;
    j["duration_s"] = seconds(loaded.timeline->length());
    j["steps"] = loaded.timeline->step_count();
    const auto faults = injected_faults(*loaded.timeline, bench);
    for (const auto& fault : faults)
      console.say("  makes the fault '" + fault + "'" +
                  (bench.faults[*bench.find_fault(fault)].two_persons ? ", which two persons must agree to" : ""));
    j["faults"] = faults;
    j["notes"] = tell_notes(loaded, console);
  }
  return j;
}

}  // namespace

int check_command(const CheckOptions& options, Console& console) {
  Loaded loaded;
  if (const auto status = load_or_complain(options.files.bench, options.files.plan, options.files.set, console, loaded))
    return *status;
  if (!options.nudge.signal.empty() && !options.live) {
    console.complain("--nudge moves the bench, so it is a part of --live; found it alone");
    return bad_input;
  }
  const auto how_long = parse_duration("--for", options.how_long);
  if (!how_long) return console.complain(how_long.error()), bad_input;
  const auto told = describe(loaded, console);
  if (options.shift.wanted)
    return prove_shift(loaded, options.shift, options.runs, options.arming.confirmed_by, console);
  if (!options.live) {
    console.say("no problem found; no device was touched");
    console.give(told.dump(2) + "\n");
    return all_pass;
  }
  SteadyTime time;
  const auto look = look_at(*loaded.bench, *how_long, time);
  const auto today = shown_wall_time(std::chrono::system_clock::now()).substr(0, 10);
  console.say(live_table(*loaded.bench, look, today));
  const auto status = live_status(*loaded.bench, look);
  if (options.nudge.signal.empty()) {
    console.say("nothing was driven");
    console.give(live_json(*loaded.bench, look, today));
    return status;
  }
  if (status == harness_failed) {
    console.complain("the nudge was left out: a device is not there");
    return status;
  }
  return nudge(loaded, look, options.nudge, options.runs, options.arming, console);
}

}  // namespace trackrod
