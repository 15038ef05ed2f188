#include "harness/cli/load.hpp"

#include "drivers/device/known_devices.hpp"
#include "harness/plan/vehicle_lint.hpp"
#include "harness/score/scoring.hpp"

namespace trackrod {

const Catalogue& catalogue() {
  static const Catalogue known = [] {
    auto all = known_devices();
    all.scores = score_entries();
    return all;
  }();
  return known;
}

void parse_sources(Loaded& loaded, Problems& problems) {
  if (!loaded.bench) loaded.bench = parse_bench(loaded.bench_sources, catalogue(), problems);
  if (!loaded.bench || loaded.plan_sources.empty()) return;
  loaded.plan = parse_plan(loaded.plan_sources, loaded.set, *loaded.bench, catalogue(), problems);
  if (!loaded.plan) return;
  loaded.timeline = Timeline::compile(*loaded.plan, *loaded.bench, problems);
  if (!loaded.timeline || loaded.from.empty()) return;
  if (auto cut = loaded.timeline->begin_with(loaded.from, loaded.made); !cut) {
    problems.add({"--from", 0, 0, ""}, cut.error().context, "");
    loaded.timeline.reset();
  }
}

Result<Assignments> parse_assignments(const std::vector<std::string>& set) {
  Assignments out;
  for (const auto& s : set) {
    const auto equals = s.find('=');
    if (equals == std::string::npos || equals == 0)
      return fail(Fault::bad_input,
                  "--set '" + s + "': found no '='; write --set name=value, as in --set rate=\"300 deg/s\"");
    out.emplace_back(s.substr(0, equals), s.substr(equals + 1));
  }
  return out;
}

Result<Duration> parse_duration(const std::string& option, const std::string& text) {
  const auto quantity = Quantity::parse(text);
  const auto value =
      quantity ? quantity->in(Unit::known("s")) : Result<double>{tl::unexpected<Error>{quantity.error()}};
  if (!value) return tl::unexpected<Error>{Error{value.error()}.within(option)};
  if (!(*value > 0.0 && *value <= 3600.0))
    return fail(Fault::bad_input, option + ": found '" + text + "'; allowed: above 0 s, up to 1 h");
  return from_seconds(*value);
}

std::optional<ExitStatus> load_or_complain(const std::string& bench_path, const std::string& plan_path,
                                           const std::vector<std::string>& set, Console& console, Loaded& loaded) {
  const auto complain = [&](const Error& error) {
    console.complain(error);
    return status_of(error) == harness_failed && error.fault != Fault::storage ? harness_failed : bad_input;
  };
  auto assignments = parse_assignments(set);
  if (!assignments) return complain(assignments.error());
  loaded.set = *assignments;
  auto bench = load_bench_sources(bench_path);
  if (!bench) return complain(bench.error());
  loaded.bench_sources = std::move(*bench);
  if (!plan_path.empty()) {
    auto plan = load_plan_sources(plan_path);
    if (!plan) return complain(plan.error());
    loaded.plan_sources = std::move(*plan);
  }
  Problems problems;
  parse_sources(loaded, problems);
  if (problems.none()) return std::nullopt;
  console.complain(problems);
  return bad_input;
}

std::vector<std::string> tell_notes(const Loaded& loaded, const Console& console) {
  auto notes = loaded.plan->left_out;
  for (auto& note : vehicle_notes(*loaded.timeline, *loaded.bench)) notes.push_back(std::move(note));
  for (const auto& note : notes) console.say("note: " + note);
  return notes;
}

}  // namespace trackrod
