#include "harness/cli/shift.hpp"

#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <iostream>
#include <nlohmann/json.hpp>

#include "harness/cli/clearance.hpp"
#include "harness/cli/proofs.hpp"

namespace trackrod {
namespace {

using Json = nlohmann::ordered_json;

std::string limits_in_words(const Interlock& interlock, const SignalInfo& signal) {
  const auto& c = interlock.condition;
  std::string words = "'" + signal.name + "'";
  if (std::isfinite(c.low)) words += " at least " + shown(c.low) + (signal.unit == "1" ? "" : " " + signal.unit);
  if (std::isfinite(c.high))
    words += (std::isfinite(c.low) ? " and" : "") + std::string{" at most "} + shown(c.high) +
             (signal.unit == "1" ? "" : " " + signal.unit);
  return words;
}

// Why it was not seen to be exercised; empty: it was.
std::string exercised(const Bench& bench, const Interlock& interlock, LiveWatch& watch, Duration within,
                      const TimeSource& time, const Console& console) {
  const auto& signal = bench.signals[interlock.condition.signal].info;
  Exercise exercise{interlock.condition};
  auto stage = Exercise::Stage::done;  // none was told of yet
  auto until = time.now(), seen = time.now();
  for (;;) {
    watch.step();
    const auto& last = watch.look().signals[interlock.condition.signal].last;
    if (last && last->when > seen) {
      exercise.see(last->value);
      seen = last->when;
    }
    if (exercise.stage() != stage) {
      stage = exercise.stage();
      until = time.now() + within;
      if (stage == Exercise::Stage::to_break)
        console.say("'" + interlock.name + "' holds (" + limits_in_words(interlock, signal) +
                    "). Break it now, as by pressing the stop; it protects " + interlock.protects + ".");
      if (stage == Exercise::Stage::to_hold_again)
        console.say("'" + interlock.name + "' is broken. Let it hold again.");
      if (stage == Exercise::Stage::done) return {};
    }
    if (time.now() < until) continue;
    switch (stage) {
      case Exercise::Stage::to_hold:
        return "it does not hold, or '" + signal.name + "' has no value";
      case Exercise::Stage::to_break:
        return "it was not seen to break";
      default:
        return "it broke, and was not seen to hold again";
    }
  }
}

// Why it was not confirmed; empty: it was.
std::string confirmed(const Interlock& interlock, const SignalInfo& signal, const std::vector<std::string>& confirm,
                      const Console& console) {
  if (std::ranges::find(confirm, interlock.name) != confirm.end()) return {};
  if (isatty(STDIN_FILENO) == 0) return "not confirmed; name it with --confirm " + interlock.name;
  console.say("'" + interlock.name + "' (" + limits_in_words(interlock, signal) + ") protects " + interlock.protects +
              ". Type yes when you have looked at its sensor and its limit:");
  std::string answer;
  std::getline(std::cin, answer);
  return answer == "yes" ? "" : "not confirmed";
}

// Each name in --confirm is an interlock that is confirmed.
std::optional<Error> misnamed(const Bench& bench, const std::vector<std::string>& confirm) {
  std::vector<std::string> names;
  for (const auto& interlock : bench.interlocks)
    if (interlock.proof == Proof::confirm) names.push_back(interlock.name);
  for (const auto& name : confirm)
    if (std::ranges::find(names, name) == names.end())
      return Error{Fault::bad_input,
                   "--confirm: found '" + name + "'; allowed: an interlock with 'proof' \"confirm\": " + one_of(names),
                   {}};
  return {};
}

}  // namespace

void Exercise::see(double value) {
  if (std::isnan(value)) return;
  const bool met = condition_.met_by(value);
  if (stage_ == Stage::to_hold && met)
    stage_ = Stage::to_break;
  else if (stage_ == Stage::to_break && !met)
    stage_ = Stage::to_hold_again;
  else if (stage_ == Stage::to_hold_again && met)
    stage_ = Stage::done;
}

int prove_shift(const Loaded& loaded, const ShiftOptions& options, const std::string& runs, const std::string& by,
                Console& console) {
  const auto& bench = *loaded.bench;
  const auto within = parse_duration("--within", options.within);
  if (!within) return console.complain(within.error()), bad_input;
  if (const auto error = misnamed(bench, options.confirm)) return console.complain(*error), bad_input;
  if (std::ranges::none_of(bench.interlocks, [](const Interlock& i) { return i.proof != Proof::none; })) {
    console.say("no interlock of '" + bench.name + "' asks for a proof ('proof' in the bench file)");
    return all_pass;
  }
  console.say("Nothing is driven now. Keep the bench as for a run, and nobody in its guard.");
  const auto name = name_of_person("Type your name, under which the proofs are kept:", by,
                                   "who proves the interlocks with --confirmed-by NAME", console);
  if (!name) return console.complain(name.error()), bad_input;
  SteadyTime time;
  LiveWatch watch{bench, time};
  const auto identity = identity_of(loaded);
  Json told = Json::array();
  bool all = true;
  for (const auto& interlock : bench.interlocks) {
    if (interlock.proof == Proof::none) continue;
    const auto trouble =
        interlock.proof == Proof::exercise
            ? exercised(bench, interlock, watch, *within, time, console)
            : confirmed(interlock, bench.signals[interlock.condition.signal].info, options.confirm, console);
    if (trouble.empty()) {
      const InterlockProof proof{interlock.name, interlock.proof, *name, std::chrono::system_clock::now(), identity};
      if (auto added = add_proof(runs, proof); !added) return console.complain(added.error()), harness_failed;
    }
    all = all && trouble.empty();
    console.say("'" + interlock.name + "': " +
                (!trouble.empty()                     ? "NOT PROVEN: " + trouble
                 : interlock.proof == Proof::exercise ? "exercised"
                                                      : "confirmed"));
    told.push_back({{"interlock", interlock.name}, {"proven", trouble.empty()}, {"trouble", trouble}});
  }
  console.say(all ? "all proven; the proofs count for " + shown_time(seconds(bench.proof_lasts)) +
                        ", until the bench file changes or this machine starts anew. After any work on its wiring, "
                        "prove them again"
                  : "not all are proven: the bench will not move");
  console.give(Json{{"interlocks", told}}.dump(2) + "\n");
  return all ? all_pass : inconclusive;
}

}  // namespace trackrod
