// Broken plan files by hand. '@' marks where the problem is and is taken out before the file is read.

#include "tests/catch.hpp"
#include "tests/plan/small_bench.hpp"

using namespace trackrod;
using namespace trackrod::test;

namespace {

struct Marked {
  std::string text;
  int line{1}, column{1};
};

Marked unmark(std::string text) {
  Marked m;
  const auto mark = text.find('@');
  REQUIRE(mark != std::string::npos);
  for (std::size_t i = 0; i < mark; ++i)
    if (text[i] == '\n')
      ++m.line, m.column = 1;
    else
      ++m.column;
  m.text = text.erase(mark, 1);
  return m;
}

struct Broken {
  const char* what;
  std::string text;
  const char* path;
  std::vector<const char*> says;  // each somewhere in the sentence
};

std::string steps(const std::string& list) {
  return "{\n  \"plan\": \"p\",\n  \"control\": {\"axis\": \"position\"},\n  \"steps\": [\n    " + list + "\n  ]\n}\n";
}
std::string with(const std::string& sections) {
  return "{\n  \"plan\": \"p\",\n  " + sections +
         ",\n  \"steps\": [{\"do\": \"hold\", \"name\": \"rest\", \"for\": \"1 s\"},\n            {\"do\": \"repeat\", "
         "\"name\": \"again\", "
         "\"times\": 2, \"steps\": [{\"do\": \"hold\", \"name\": \"inner\", \"for\": \"1 s\"}]}]\n}\n";
}
std::string criterion(const std::string& text) { return with("\"criteria\": [\n    " + text + "\n  ]"); }

const std::string delay_head =
    R"({"score": "delay", "steps": ["rest"], "signals": {"input": "axis.angle", "output": "axis.angle_cmd"})";

std::vector<Broken> table() {
  return {
      // the file
      {"no JSON", "{\n  \"plan\": @oops\n}", "", {"no valid JSON"}},
      {"a trailing comma", "{\n  \"plan\": \"p\",\n@}", "", {"no valid JSON"}},
      {"a list as the plan", "@[1]", "", {"found a list", "an object (a plan)"}},
      {"no steps", "@{\"plan\": \"p\"}", "", {"'steps' is missing"}},
      {"no name", "@{\"steps\": [{\"do\": \"hold\", \"for\": \"1 s\"}]}", "", {"'plan' is missing"}},
      {"an empty list of steps", "{\"plan\": \"p\", \"steps\": @[]}", "/steps", {"a list of at least 1"}},
      {"a key twice", with(R"("settle": "1 s", @"settle": "2 s")"), "/settle", {"a second time", "line 3"}},
      {"an unknown section", with(R"(@"criterias": [])"), "/criterias", {"unknown key", "did you mean 'criteria'?"}},
      {"settle of another dimension", with(R"("settle": @"1 V")"), "/settle", {"1 V", "measure different quantities"}},
      {"settle without a unit", with(R"("settle": @"1")"), "/settle", {"found \"1\""}},
      {"settle below zero", with(R"("settle": @"-1 s")"), "/settle", {"found \"-1 s\"", "0 to"}},
      // variables
      {"an unknown variable",
       with(R"("variables": {"rate": "1 s"}, "settle": @"${rte}")"),
       "/settle",
       {"unknown variable 'rte'", "did you mean 'rate'?"}},
      {"a variable without end",
       with(R"("variables": {"rate": "1 s"}, "settle": @"${rate")"),
       "/settle",
       {"without '}'"}},
      {"a variable in a variable",
       with(R"("variables": {"a": "1 s", "b": @"${a}"})"),
       "/variables/b",
       {"without other variables"}},
      {"a variable that is a list", with(R"("variables": {"a": @[1]})"), "/variables/a", {"a text"}},
      {"a variable whose value does not fit",
       with(R"("variables": {"a": "1 V"}, "settle": @"${a}")"),
       "/settle",
       {"\"1 V\""}},
      // control and start
      {"an unknown axis",
       with(R"("control": {@"axes": "position"})"),
       "/control/axes",
       {"unknown axis 'axes'", "did you mean 'axis'?"}},
      {"a mode that there is not",
       with(R"("control": {"axis": @"positon"})"),
       "/control/axis",
       {"\"positon\"", "did you mean 'position'?"}},
      {"a mode that the axis has not",
       with(R"("control": {"axis": @"velocity"})"),
       "/control/axis",
       {"no mode 'velocity'", "'position', 'torque' or 'free'"}},
      {"start of an unknown signal",
       with(R"("start": {@"sped": "1 km/h"})"),
       "/start/sped",
       {"unknown signal 'sped'", "did you mean 'speed'?"}},
      {"start of a signal that is read",
       with(R"("start": {@"axis.angle": "1 deg"})"),
       "/start/axis.angle",
       {"is read from the bench"}},
      {"start in another unit",
       with(R"("start": {"speed": @"1 deg"})"),
       "/start/speed",
       {"'deg' and 'km/h' measure different quantities"}},
      {"start out of range",
       with(R"("start": {"speed": @"300 km/h"})"),
       "/start/speed",
       {"300 km/h", "0 km/h to 200 km/h"}},
      {"start of a setpoint without a mode",
       with(R"("start": {@"axis.angle_cmd": "1 deg"})"),
       "/start/axis.angle_cmd",
       {"control mode is not chosen", "\"control\": {\"axis\": \"position\"}"}},
      // steps
      {"a stimulus that there is not",
       steps(R"({"do": @"rampe", "for": "1 s"})"),
       "/steps/0/do",
       {"\"rampe\"", "did you mean 'ramp'?"}},
      {"a step without kind", steps(R"(@{"for": "1 s"})"), "/steps/0", {"'do' is missing", "'hold'"}},
      {"a step that is a text", steps(R"(@"hold")"), "/steps/0", {"an object with 'do'"}},
      {"a misspelt key",
       steps(R"({"do": "ramp", "signal": "speed", "to": "9 km/h", "rate": "1 m/s^2", @"fr": "1 s"})"),
       "/steps/0/fr",
       {"unknown key 'fr' in 'ramp'", "did you mean 'for'?"}},
      {"a misspelt name",
       steps(R"({"do": "hold", @"nmae": "x", "for": "1 s"})"),
       "/steps/0/nmae",
       {"did you mean 'name'?"}},
      {"a name twice",
       steps("{\"do\": \"hold\", \"name\": \"x\", \"for\": \"1 s\"},\n    {\"do\": \"hold\", \"name\": @\"x\", "
             "\"for\": \"1 s\"}"),
       "/steps/1/name",
       {"the name 'x' a second time", "line 5"}},
      {"a name that is no word",
       steps(R"({"do": "hold", "name": @"a b", "for": "1 s"})"),
       "/steps/0/name",
       {"found the name 'a b'"}},
      {"a hold without time", steps(R"(@{"do": "hold"})"), "/steps/0", {"'for' is missing"}},
      {"a hold with half a target",
       steps(R"({"do": "hold", "signal": @"speed", "for": "1 s"})"),
       "/steps/0/signal",
       {"'signal' without 'at'"}},
      {"an unknown signal",
       steps(R"({"do": "ramp", "signal": @"axis.angle_cmt", "to": "1 deg", "rate": "1 deg/s"})"),
       "/steps/0/signal",
       {"did you mean 'axis.angle_cmd'?"}},
      {"driving a signal that is read",
       steps(R"({"do": "ramp", "signal": @"axis.angle", "to": "1 deg", "rate": "1 deg/s"})"),
       "/steps/0/signal",
       {"is read from the bench", "'axis.angle_cmd'"}},
      {"driving the mode",
       steps(R"({"do": "step", "signal": @"axis.mode", "to": "1", "for": "1 s"})"),
       "/steps/0/signal",
       {"sets the control mode of axis 'axis'", "\"control\""}},
      {"driving a setpoint of another mode",
       steps(R"({"do": "ramp", "signal": @"axis.torque_cmd", "to": "1 Nm", "rate": "1 Nm/s"})"),
       "/steps/0/signal",
       {"runs in mode 'position'", "only in mode 'torque'"}},
      {"a target in another unit",
       steps(R"({"do": "ramp", "signal": "axis.angle_cmd", "to": @"1 Nm", "rate": "1 deg/s"})"),
       "/steps/0/to",
       {"\"1 Nm\"", "a quantity in deg", "'Nm' and 'deg' measure different quantities"}},
      {"a target out of range",
       steps(R"({"do": "ramp", "signal": "axis.angle_cmd", "to": @"161 deg", "rate": "1 deg/s"})"),
       "/steps/0/to",
       {"161 deg", "-160 deg to 160 deg"}},
      {"a rate without time in it",
       steps(R"({"do": "ramp", "signal": "axis.angle_cmd", "to": "1 deg", "rate": @"1 deg"})"),
       "/steps/0/rate",
       {"deg/s"}},
      {"a rate of zero",
       steps(R"({"do": "ramp", "signal": "axis.angle_cmd", "to": "1 deg", "rate": @"0 deg/s"})"),
       "/steps/0/rate",
       {"above 0"}},
      {"a rate beyond the bench",
       steps(R"({"do": "ramp", "signal": "axis.angle_cmd", "to": "1 deg", "rate": @"1001 deg/s"})"),
       "/steps/0/rate",
       {"1001 deg/s", "at most 1000 deg/s"}},
      {"a slew beyond the bench",
       steps(R"({"do": "step", "signal": "axis.angle_cmd", "to": "1 deg", "slew": @"20 rad/s", "for": "1 s"})"),
       "/steps/0/slew",
       {"20 rad/s", "at most 1000 deg/s, the bench's max_slew"}},
      {"a jerk beyond the bench",
       steps(R"({"do": "step", "signal": "load", "to": "1 N", "jerk": @"2e9 N/s^3", "for": "1 s"})"),
       "/steps/0/jerk",
       {"at most 1e+09 N/s^3, the bench's max_jerk"}},
      {"a rate beyond the step's own slew",
       steps(R"({"do": "ramp", "signal": "axis.angle_cmd", "to": "1 deg", "slew": "10 deg/s", "rate": @"20 deg/s"})"),
       "/steps/0/rate",
       {"at most 10 deg/s"}},
      {"a number where a quantity belongs",
       steps(R"({"do": "ramp", "signal": "axis.angle_cmd", "to": @1, "rate": "1 deg/s"})"),
       "/steps/0/to",
       {"found 1", "a quantity in quotes"}},
      {"half a cycle",
       steps(
           R"({"do": "triangle", "signal": "axis.angle_cmd", "amplitude": "1 deg", "rate": "1 deg/s", "cycles": @1.5})"),
       "/steps/0/cycles",
       {"found 1.5", "a whole number"}},
      {"an amplitude below zero",
       steps(
           R"({"do": "triangle", "signal": "axis.angle_cmd", "amplitude": @"-1 deg", "rate": "1 deg/s", "cycles": 1})"),
       "/steps/0/amplitude",
       {"above 0"}},
      {"a triangle that leaves the range",
       steps("{\"do\": \"step\", \"signal\": \"axis.angle_cmd\", \"to\": \"60 deg\", \"for\": \"1 s\"},\n {\"do\": "
             "\"triangle\", \"signal\": \"axis.angle_cmd\", \"amplitude\": @\"110 deg\", \"rate\": \"1 deg/s\", "
             "\"cycles\": 1}"),
       "/steps/1/amplitude",
       {"-50 deg to 170 deg", "-160 deg to 160 deg"}},
      {"a triangle too small for its corners",
       steps(
           R"({"do": "triangle", "signal": "axis.angle_cmd", "amplitude": "1 deg", "rate": @"100 deg/s", "acceleration": "100 deg/s^2", "cycles": 1})"),
       "/steps/0/rate",
       {"needs 100 deg to speed up and turn", "at most the amplitude, 1 deg"}},
      {"a sine that is too fast",
       steps(
           R"({"do": "sine", "signal": "axis.angle_cmd", "amplitude": @"100 deg", "frequency": "2 Hz", "cycles": 2})"),
       "/steps/0/amplitude",
       {"would reach 1256.64 deg/s", "1000 deg/s"}},
      {"a sine that jumps where jerk is limited",
       steps(R"({"do": "sine", "signal": "load", "amplitude": @"10 N", "frequency": "1 Hz", "cycles": 2})"),
       "/steps/0/amplitude",
       {"would jump", "'fade_cycles'"}},
      {"a sine that only fades",
       steps(
           R"({"do": "sine", "signal": "load", "amplitude": "10 N", "frequency": "1 Hz", "cycles": 2, "fade_cycles": @1.5})"),
       "/steps/0/fade_cycles",
       {"at most half of the 2 cycles"}},
      {"a frequency in rad/s",
       steps(R"({"do": "sine", "signal": "load", "amplitude": "10 N", "frequency": @"1 rad/s", "cycles": 2})"),
       "/steps/0/frequency",
       {"'rad/s' and 'Hz' measure different quantities"}},
      {"too many treads",
       steps(R"({"do": "staircase", "signal": "speed", "to": "9 km/h", "treads": @1001, "tread_time": "1 s"})"),
       "/steps/0/treads",
       {"1 to 1000"}},
      {"a wait without a bound",
       steps(R"(@{"do": "wait", "signal": "speed", "within": "1 s"})"),
       "/steps/0",
       {"'at_least', 'at_most' or both"}},
      {"a wait with crossed bounds",
       steps(R"({"do": "wait", "signal": "speed", "at_least": @"9 km/h", "at_most": "8 km/h", "within": "1 s"})"),
       "/steps/0/at_least",
       {"not above"}},
      {"a wait that must hold too long",
       steps(R"({"do": "wait", "signal": "speed", "at_least": "9 km/h", "hold_for": @"1 s", "within": "1 s"})"),
       "/steps/0/hold_for",
       {"less than 'within'"}},
      {"no repetitions",
       steps(R"({"do": "repeat", "times": @0, "steps": [{"do": "hold", "for": "1 s"}]})"),
       "/steps/0/times",
       {"found 0", "1 to"}},
      {"a fault inside a repeat",
       steps(R"({"do": "repeat", "times": 2, "steps": [{"do": "hold", "for": @"1 m"}]})"),
       "/steps/0/steps/0/for",
       {"'m' and 's'"}},
      {"a wait in a track",
       steps(
           R"({"do": "parallel", "tracks": [[@{"do": "wait", "signal": "speed", "at_most": "1 km/h", "within": "1 s"}], [{"do": "hold", "for": "1 s"}]]})"),
       "/steps/0/tracks/0/0",
       {"stimuli only"}},
      {"a signal in two tracks",
       steps(
           R"({"do": "parallel", "tracks": [[{"do": "ramp", "signal": "load", "to": "1 N", "rate": "1 N/s"}], [@{"do": "ramp", "signal": "load", "to": "2 N", "rate": "1 N/s"}]]})"),
       "/steps/0/tracks/1/0",
       {"each signal in one track"}},
      {"one track",
       steps(R"({"do": "parallel", "tracks": @[[{"do": "hold", "for": "1 s"}]]})"),
       "/steps/0/tracks",
       {"at least 2"}},
      {"a named stimulus in a track",
       steps(
           R"({"do": "parallel", "tracks": [[{"do": "hold", "name": @"x", "for": "1 s"}], [{"do": "hold", "for": "1 s"}]]})"),
       "/steps/0/tracks/0/0/name",
       {"the parallel as a whole"}},
      {"a trip that would run into the end",
       steps(R"(@{"do": "step", "signal": "axis.angle_cmd", "to": "100 deg", "slew": "900 deg/s", "for": "1 s"})"),
       "/steps/0",
       {"goes on for 72 deg", "60 deg left", "grace"}},
      // criteria
      {"a score that there is not",
       criterion(R"({"score": @"dely", "steps": ["rest"]})"),
       "/criteria/0/score",
       {"did you mean 'delay'?"}},
      {"a criterion without score", criterion(R"(@{"steps": ["rest"]})"), "/criteria/0", {"'score' is missing"}},
      {"a misspelt key of a criterion",
       criterion(R"({"score": "bus", @"stpes": ["rest"]})"),
       "/criteria/0/stpes",
       {"unknown key 'stpes' in 'bus'", "did you mean 'steps'?"}},
      {"a setting of another score",
       criterion(R"({"score": "bus", @"positions": 5})"),
       "/criteria/0/positions",
       {"unknown key"}},
      {"a bad setting", criterion(R"({"score": "bus", "gap": @0.5})"), "/criteria/0/gap", {"found 0.5"}},
      {"an unknown step",
       criterion(R"({"score": "bus", "steps": [@"rst"]})"),
       "/criteria/0/steps/0",
       {"unknown step 'rst'", "did you mean 'rest'?"}},
      {"a repeat as a step",
       criterion(R"({"score": "bus", "steps": [@"again"]})"),
       "/criteria/0/steps/0",
       {"'again' is a repeat", "'inner'"}},
      {"no steps to read",
       criterion(R"(@{"score": "delay", "signals": {"input": "axis.angle", "output": "axis.angle"}})"),
       "/criteria/0",
       {"'steps' is missing"}},
      {"a role too few",
       criterion(R"({"score": "delay", "steps": ["rest"], "signals": @{"input": "axis.angle"}})"),
       "/criteria/0/signals",
       {"no signal for the role 'output'"}},
      {"a role that there is not",
       criterion(
           R"({"score": "delay", "steps": ["rest"], "signals": {"input": "axis.angle", "output": "axis.angle", @"outptu": "axis.angle"}})"),
       "/criteria/0/signals/outptu",
       {"did you mean 'output'?"}},
      {"an unknown signal in a role",
       criterion(
           R"({"score": "delay", "steps": ["rest"], "signals": {"input": @"axis.angel", "output": "axis.angle"}})"),
       "/criteria/0/signals/input",
       {"did you mean 'axis.angle'?"}},
      {"an unknown condition",
       criterion(R"({"score": "bus", "conditions": [@"sped"]})"),
       "/criteria/0/conditions/0",
       {"did you mean 'speed'?"}},
      {"an unknown finding",
       criterion(delay_head + R"(, "limits": [{"finding": @"deadtime", "at_most": "1 ms"}]})"),
       "/criteria/0/limits/0/finding",
       {"did you mean 'dead_time'?"}},
      {"a limit in another unit",
       criterion(delay_head + R"(, "limits": [{"finding": "dead_time", "at_most": @"1 deg"}]})"),
       "/criteria/0/limits/0/at_most",
       {"a quantity in ms"}},
      {"a limit in another unit than the signal's",
       criterion(delay_head + R"(, "limits": [{"finding": "lost_motion", "at_most": @"1 ms"}]})"),
       "/criteria/0/limits/0/at_most",
       {"a quantity in deg"}},
      {"no limit in a limit",
       criterion(delay_head + R"(, "limits": [@{"finding": "dead_time"}]})"),
       "/criteria/0/limits/0",
       {"just one of them"}},
      {"two limits in one",
       criterion(delay_head + R"(, "limits": [@{"finding": "dead_time", "at_most": "1 ms", "at_least": "0 ms"}]})"),
       "/criteria/0/limits/0",
       {"just one of them"}},
      {"limits the wrong way round",
       criterion(delay_head + R"(, "limits": [{"finding": "dead_time", "within": @["2 ms", "1 ms"]}]})"),
       "/criteria/0/limits/0/within",
       {"the lower one first"}},
      {"half a pair of limits",
       criterion(delay_head + R"(, "limits": [{"finding": "dead_time", "within": @["2 ms"]}]})"),
       "/criteria/0/limits/0/within",
       {"a list of at least 2"}},
      {"a rule that there is not",
       criterion(delay_head + R"(, "limits": [{"finding": "dead_time", "at_most": "1 ms", "rule": @"gaurded"}]})"),
       "/criteria/0/limits/0/rule",
       {"did you mean 'guarded'?"}},
  };
}

}  // namespace

TEST_CASE("a broken plan is refused with the place, what is there, what may be there, and nothing beside it") {
  const auto all = table();
  CHECK(all.size() >= 60);
  for (const auto& broken : all) {
    const auto m = unmark(broken.text);
    const auto w = work_out(m.text);
    INFO(broken.what << "\n" << m.text << "\n" << w.sentences());
    CHECK_FALSE(w.plan);
    CHECK_FALSE(w.timeline);
    REQUIRE(w.problems.size() == 1);  // one mistake, one message
    const auto& p = w.problems[0];
    CHECK(p.at.file == "plan.json");
    CHECK(p.at.line == m.line);
    CHECK(p.at.column == m.column);
    CHECK(p.at.path == broken.path);
    CHECK_FALSE(p.found.empty());
    CHECK_FALSE(p.allowed.empty());
    for (const auto* words : broken.says) CHECK(p.sentence().find(words) != std::string::npos);
  }
}

TEST_CASE("all problems of a plan come in one go, in the order of the file") {
  const auto w = work_out(R"({
  "plan": "p",
  "control": {"axis": "position"},
  "settle": "1 V",
  "steps": [{"do": "ramp", "signal": "axis.angle_cmd", "to": "500 deg", "rate": "1 deg"},
            {"do": "hodl", "for": "1 s"},
            {"do": "repeat", "times": 0, "steps": [{"do": "ramp", "signal": "sped", "to": "1 km/h", "rate": "1 m/s^2"}]}],
  "criteria": [{"score": "delay", "steps": ["nothing"], "signals": {"input": "axis.angle"}}]
})");
  INFO(w.sentences());
  std::vector<std::string> paths;
  for (const auto& p : w.problems) paths.push_back(p.at.path);
  CHECK(paths == std::vector<std::string>{"/settle", "/steps/0/to", "/steps/0/rate", "/steps/1/do", "/steps/2/times",
                                          "/steps/2/steps/0/signal", "/criteria/0/steps/0", "/criteria/0/signals"});
}

TEST_CASE("an unknown --set is told with the nearest variable") {
  const std::string text =
      R"({"plan": "p", "variables": {"rate": "1 deg/s", "n": 3}, "steps": [{"do": "hold", "for": "1 s"}]})";
  const auto unknown = work_out(text, {{"rte", "2 deg/s"}});
  REQUIRE(unknown.problems.size() == 1);
  CHECK(unknown.problems[0].at.path == "/variables");
  CHECK(unknown.sentences().find("did you mean 'rate'?") != std::string::npos);
  const auto no_number = work_out(text, {{"n", "three"}});
  REQUIRE(no_number.problems.size() == 1);
  CHECK(no_number.sentences().find("a number") != std::string::npos);
}

TEST_CASE("a plan file that cannot be read says why") {
  const auto missing = load_plan_sources("/nowhere/plan.json");
  REQUIRE_FALSE(missing);
  CHECK(missing.error().fault == Fault::bad_input);
  CHECK(missing.error().context.find("/nowhere/plan.json") != std::string::npos);
  CHECK_FALSE(load_plan_sources("/tmp"));
}
