#include "harness/cli/nudge.hpp"

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "harness/cli/run_plan.hpp"

namespace trackrod {
namespace {

using Json = nlohmann::ordered_json;

constexpr double share_of_range = 0.01;  // when no way is given
constexpr double most_share = 0.1;       // no first motion goes farther
constexpr double move_s = 1.0, rest_s = 1.0;

std::string with_unit(double value, const std::string& unit) { return shown(value, 12) + " " + unit; }

Result<const SignalSpec*> find_driven(const Bench& bench, const std::string& name) {
  std::vector<std::string> names;
  for (const auto& s : bench.signals) {
    if (s.info.direction != Direction::drive) continue;
    if (s.info.name == name) return &s;
    names.push_back(s.info.name);
  }
  return fail(Fault::bad_input, "--nudge: found '" + name + "'; allowed: a driven signal: " + one_of(names) + "; " +
                                    did_you_mean(name, names));
}

// How far to go, in the signal's unit; away from the nearer end of its range when no way is given.
Result<double> way(const SignalInfo& info, double from, const std::string& by) {
  const double range = info.range_high - info.range_low;
  double far = share_of_range * range;
  if (by.empty()) {
    if (from + far > info.range_high) far = -far;
  } else {
    const auto quantity = Quantity::parse(by);
    const auto value =
        quantity ? quantity->in(Unit::known(info.unit)) : Result<double>{tl::unexpected<Error>{quantity.error()}};
    if (!value) return tl::unexpected<Error>{Error{value.error()}.within("--by")};
    far = *value;
  }
  if (far == 0.0 || std::abs(far) > most_share * range)
    return fail(Fault::bad_input, "--by: found " + with_unit(far, info.unit) +
                                      "; allowed: up to a tenth of the range, " +
                                      with_unit(most_share * range, info.unit) + ": a first motion is a small one");
  if (from + far > info.range_high || from + far < info.range_low)
    return fail(Fault::bad_input, "--by: from " + with_unit(from, info.unit) + " by " + with_unit(far, info.unit) +
                                      " leaves the range of '" + info.name + "'; go the other way");
  return far;
}

// The control mode in which the signal commands an axis.
Json control_of(const Bench& bench, const SignalSpec& signal) {
  Json control = Json::object();
  for (const auto& axis : bench.axes)
    for (const auto& mode : axis.modes)
      if (mode.setpoint != no_signal && &bench.signals[mode.setpoint] == &signal)
        control[axis.name] = control_mode_name(mode.mode);
  return control;
}

// The sensor that should follow is judged, the others are told.
Json criterion(const std::string& input, const SignalInfo& output, bool judged) {
  Json c{{"score", "polarity"}, {"steps", {"out", "back"}}, {"signals", {{"input", input}, {"output", output.name}}}};
  if (judged)
    c["limits"] = {{{"finding", "direction"}, {"at_least", "1"}}, {{"finding", "gain"}, {"within", {"0.8", "1.2"}}}};
  return c;
}

std::string write_plan(const Bench& bench, const SignalSpec& signal, double from, double far) {
  const auto& info = signal.info;
  const auto rate = with_unit(std::abs(far) / move_s, info.unit == "1" ? "s^-1" : "(" + info.unit + ")/s");
  const auto move = [&](const char* name, double to) {
    return Json{{"do", "ramp"},        {"name", name},
                {"signal", info.name}, {"to", with_unit(to, info.unit)},
                {"rate", rate},        {"for", with_unit(rest_s, "s")}};
  };
  Json criteria = Json::array();
  if (signal.start_from != no_signal)
    criteria.push_back(criterion(info.name, bench.signals[signal.start_from].info, true));
  for (std::size_t i = 0; i < bench.signals.size(); ++i)
    if (bench.signals[i].info.direction == Direction::read && i != signal.start_from)
      criteria.push_back(criterion(info.name, bench.signals[i].info, false));
  return Json{{"plan", "nudge"},
              {"description", "First motion of '" + info.name + "': small, out and back"},
              {"control", control_of(bench, signal)},
              {"start", {{info.name, with_unit(from, info.unit)}}},
              {"settle", with_unit(rest_s, "s")},
              {"steps", {move("out", from + far), move("back", from)}},
              {"criteria", criteria}}
      .dump(2);
}

// Half the way to the wrong side, or as far again to the right one, ends it.
std::string guarded_bench(const std::string& text, const SignalInfo& sensor, double from, double far) {
  auto bench = Json::parse(text, nullptr, true, true);
  const double wrong = from - 0.5 * far, beyond = from + 2.0 * far;
  bench["interlocks"]["nudge_way"] = {
      {"signal", sensor.name},
      {"at_least", with_unit(std::max(std::min(wrong, beyond), sensor.range_low), sensor.unit)},
      {"at_most", with_unit(std::min(std::max(wrong, beyond), sensor.range_high), sensor.unit)},
      {"grace", "20 ms"},
      {"protects", "the rig from a motion that goes the wrong way or too far"}};
  return bench.dump(2);
}

}  // namespace

Result<NudgeFiles> nudge_files(const Loaded& loaded, const BenchLook& look, const NudgeOptions& options) {
  const auto& bench = *loaded.bench;
  const auto found = find_driven(bench, options.signal);
  if (!found) return tl::unexpected<Error>{found.error()};
  const auto& signal = **found;
  double from = signal.rest;
  const bool sensed = signal.start_from != no_signal;
  if (sensed) {
    const auto& last = look.signals[signal.start_from].last;
    if (!last || std::isnan(last->value))
      return fail(Fault::bad_input, "--nudge: '" + bench.signals[signal.start_from].info.name +
                                        "', which should follow '" + signal.info.name + "', gives no value");
    from = last->value;
  }
  const auto far = way(signal.info, from, options.by);
  if (!far) return tl::unexpected<Error>{far.error()};
  NudgeFiles files{loaded.bench_sources.front().second, write_plan(bench, signal, from, *far)};
  if (sensed && bench.signals[signal.start_from].info.bench_owned)
    files.bench = guarded_bench(files.bench, bench.signals[signal.start_from].info, from, *far);
  return files;
}

int nudge(const Loaded& loaded, const BenchLook& look, const NudgeOptions& options, const std::string& runs,
          const ArmingOptions& arming, Console& console) {
  auto files = nudge_files(loaded, look, options);
  if (!files) return console.complain(files.error()), bad_input;
  Loaded moved;
  moved.bench_sources = loaded.bench_sources;
  moved.bench_sources.front().second = std::move(files->bench);
  moved.plan_sources = {{"nudge.json", std::move(files->plan)}};
  Problems problems;
  parse_sources(moved, problems);
  if (!problems.none()) return console.complain(problems), bad_input;
  console.say("first motion: '" + options.signal +
              "', out and back, watched by an interlock where the bench has a sensor");
  const auto clear = clearance(loaded, moved, runs, arming, console);
  if (!clear) return console.complain(clear.error()), status_of(clear.error());
  return run_plan(moved, runs, {}, "", *clear, console);
}

}  // namespace trackrod
