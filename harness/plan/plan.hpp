#pragma once
// What to do and what to expect: the plan file, checked against a bench.

#include <any>
#include <memory>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "harness/bench/bench.hpp"
#include "harness/bench/identity.hpp"

namespace trackrod {

// A stimulus or control element as written; the timeline gives it its meaning.
struct PlanStep {
  std::string name;               // given, or "step-3" by position, "step-3.1" inside step 3
  Name given_name;                // as given; empty when not
  Chosen what;                    // kind "hold", "ramp", ...; value: that kind's settings
  bool implausible_meant{false};  // it, or what is in it, does on purpose what no vehicle does
  bool complete{true};            // false: something in it could not be read, which is told
};

enum class LimitKind : std::uint8_t { at_most, at_least, within };
enum class DecisionRule : std::uint8_t { guarded, simple };

struct LimitSpec {
  std::string finding;  // "delay.dead_time"
  LimitKind kind{LimitKind::at_most};
  double low{0.0}, high{0.0};  // in `unit`
  std::string unit;            // the finding's unit
  DecisionRule rule{DecisionRule::guarded};
  std::string requirement;  // identifier; may be empty
  bool stops{false};        // passed while the run goes on, it ends the repeat that runs
};

struct Criterion {
  Where at;
  std::string score;                                         // "delay"
  std::any settings;                                         // the struct that the score's table fills
  std::vector<std::string> steps;                            // names of steps it reads
  std::vector<std::pair<std::string, SignalIndex>> signals;  // role -> signal
  std::vector<SignalIndex> conditions;                       // signals whose mean is stated with each finding
  std::vector<LimitSpec> limits;                             // empty: report without a limit
  bool by_cycle{false};                                      // its steps are taken cycle by cycle
  // Of a recording that lacks them: signals in roles, without which there is no score, and those of conditions.
  std::vector<std::string> absent, absent_conditions;
};

struct Plan {
  std::string name;
  std::string description;
  std::string file;
  std::vector<std::pair<std::string, ControlMode>> control;  // axis -> mode, for the whole plan
  std::vector<std::pair<SignalIndex, double>> start;         // values driven before the first step
  std::vector<IdentityRule> identity;                        // what devices must say before anything moves
  std::vector<std::uint32_t> expected_faults;                // codes that do not make the run invalid
  Duration settle{};                                         // how long they are held before the first step
  std::vector<PlanStep> steps;
  std::vector<Criterion> criteria;
  std::vector<std::string> left_out;  // combinations of its grids that are not made, in sentences
  bool of_recording{false};           // its criteria alone, for a recording made elsewhere
};

using Assignments = std::vector<std::pair<std::string, std::string>>;  // --set name=value

// The first source is the plan file. Null when there are problems. Pure.
std::unique_ptr<Plan> parse_plan(const Sources& sources, const Assignments& set, const Bench& bench,
                                 const Catalogue& catalogue, Problems& problems);
// The criteria of the plan alone, held against a recording of these signals, which may lack some of them. What the
// steps ask of a bench is not looked at: no step was run. Null when there are problems. Pure.
std::unique_ptr<Plan> parse_criteria(const Sources& sources, const Assignments& set, const Bench& recorded,
                                     const Catalogue& catalogue, Problems& problems);
// Names of the plan's stimuli of these kinds, "step" or "triangle", in the order and as often as they run; no more than
// `most`.
std::vector<std::string> order_of(const Plan& plan, const std::vector<std::string>& kinds, std::size_t most);
Result<Sources> load_plan_sources(const std::string& path);
std::string plan_schema(const Catalogue& catalogue);

}  // namespace trackrod
