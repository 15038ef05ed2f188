#include "harness/plan/parse_plan.hpp"

#include <algorithm>
#include <map>

#include "harness/base/hex.hpp"
#include "harness/base/text_file.hpp"
#include "harness/plan/criteria.hpp"
#include "harness/plan/drafting.hpp"
#include "harness/plan/grids.hpp"
#include "harness/plan/seek.hpp"
#include "harness/plan/variables.hpp"

namespace trackrod {
namespace {

Shape<ControlMode> control_mode() {
  std::vector<std::pair<std::string, ControlMode>> modes;
  for (const auto mode :
       {ControlMode::position, ControlMode::velocity, ControlMode::torque, ControlMode::impedance, ControlMode::free})
    modes.emplace_back(control_mode_name(mode), mode);
  return choice(modes);
}

// Axes and their modes by name.
void take_control(const WrittenPlan& written, const Bench& bench, Plan& plan, Problems& problems) {
  std::vector<std::string> axes;
  for (const auto& a : bench.axes) axes.push_back(a.name);
  for (const auto& [name, mode] : written.control) {
    const auto at = std::find(axes.begin(), axes.end(), name.value);
    if (at == axes.end()) {
      problems.add(name.at, "unknown axis '" + name.value + "'",
                   axes.empty() ? "no axis, the bench has none" : "an axis of the bench: " + one_of(axes),
                   did_you_mean(name.value, axes));
      continue;
    }
    std::vector<std::string> modes;
    bool known = false;
    for (const auto& m : bench.axes[static_cast<std::size_t>(at - axes.begin())].modes) {
      modes.push_back(control_mode_name(m.mode));
      known = known || m.mode == mode.value;
    }
    if (!known)
      problems.add(mode.at, "axis '" + name.value + "' has no mode '" + control_mode_name(mode.value) + "'",
                   one_of(modes));
    plan.control.emplace_back(name.value, mode.value);
  }
}

void take_start(const WrittenPlan& written, const Bench& bench, Plan& plan, Problems& problems) {
  std::vector<TimelineStep> no_steps;
  Drafting draft{plan, bench, problems, no_steps, std::vector<double>(bench.signals.size())};
  for (const auto& [name, quantity] : written.start) {
    const auto signal = draft.drivable(name);
    if (!signal) continue;
    if (const auto v = draft.target(quantity, *signal)) plan.start.emplace_back(*signal, *v);
  }
}

// "unit" is the unit under test wherever the bench says through which device it speaks.
std::optional<std::size_t> device_of(const std::string& name, const Bench& bench) {
  return name == "unit" && bench.unit.device ? bench.unit.device : bench.find_device(name);
}

void take_requires(const WrittenPlan& written, const Bench& bench, const Catalogue& catalogue, Plan& plan,
                   Problems& problems) {
  plan.identity = identity_rules(bench);
  for (const auto& [name, identity] : written.needs) {
    const auto device = device_of(name.value, bench);
    if (!device) {
      std::vector<std::string> names{"unit"};
      for (const auto& d : bench.devices) names.push_back(d.name);
      problems.add(name.at, "unknown device '" + name.value + "'", "a device of the bench: " + one_of(names),
                   name.value == "unit" ? "name the unit's device in the bench file: \"unit\": {\"device\": ...}"
                                        : did_you_mean(name.value, names));
      continue;
    }
    const auto whose = name.value == "unit" && bench.unit.device ? "the unit" : "device '" + name.value + "'";
    for (auto& [what, texts] : read_identity(identity, whose, bench.devices[*device].protocol, catalogue, problems))
      plan.identity.push_back({*device, what, texts, "the plan"});
  }
}

void take_expected_faults(const WrittenPlan& written, Plan& plan, Problems& problems) {
  for (const auto& code : written.expected_faults) {
    if (const auto number = read_hex(code.value, 6))
      plan.expected_faults.push_back(*number);
    else
      problems.add(code.at, "found \"" + code.value + "\"", "6 hexadecimal digits, as \"0A1B2C\"");
  }
}

struct StepNames {
  std::vector<std::string> steps, repeats;
  std::map<std::string, Where> first;
};

void collect_names(const std::vector<PlanStep>& steps, StepNames& names, Problems& problems) {
  for (const auto& step : steps) {
    const auto& at = step.given_name.value.empty() ? step.what.at : step.given_name.at;
    if (const auto [first, fresh] = names.first.try_emplace(step.name, at); !fresh)
      problems.add(at, "the name '" + step.name + "' a second time", "each name once",
                   "the first is in line " + std::to_string(first->second.line) + "; rename one of them");
    const auto* kind = find_stimulus(step.what.kind);
    const bool has_body = kind != nullptr && kind->body;
    (has_body ? names.repeats : names.steps).push_back(step.name);
    if (!has_body || !step.what.value.has_value()) continue;
    const auto body = kind->body(step.what.value);
    collect_names(body.steps, names, problems);
    if (body.check != nullptr) collect_names(*body.check, names, problems);
  }
}

void read_criteria(const WrittenPlan& written, const CriterionScope& scope, Plan& plan, Problems& problems) {
  for (const auto& n : written.criteria) plan.criteria.push_back(read_criterion(n, scope, problems));
}

// What is looked at while the run goes on is told apart by the number of its cycle alone, so its steps stand in a
// repeat, or in its check, and not in a further one inside.
void check_followed(const Plan& plan, const Timeline& timeline, Problems& problems) {
  std::vector<std::string> direct;
  int keeps = 0;
  for (const auto& item : timeline.program()) {
    keeps += item.keep ? 1 : 0;
    for (const auto* steps : {&item.first, &item.check})
      for (const auto& inner : *steps)
        if (inner.count == 0) direct.push_back(timeline.steps()[inner.step].name);
  }
  if (keeps > 1)
    problems.add({plan.file, 1, 1, "/steps"}, std::to_string(keeps) + " repeats with 'keep'", "one in a plan");
  for (const auto& criterion : plan.criteria) {
    const bool stops = std::ranges::any_of(criterion.limits, &LimitSpec::stops);
    if (!criterion.by_cycle || (keeps == 0 && !stops)) continue;
    for (const auto& step : criterion.steps)
      if (std::ranges::find(direct, step) == direct.end())
        problems.add(criterion.at, "'" + step + "' is followed cycle by cycle while the run goes on",
                     "steps that stand in the outermost repeat, or in its check: " + one_of(direct),
                     "take it out of the repeat around it, or out of 'stops' and 'keep'");
  }
}

std::unique_ptr<Plan> read_plan(const Node& root, const std::string& file, const Bench& bench,
                                const Catalogue& catalogue, Problems& problems) {
  WrittenPlan written;
  plan_fields().read(root, written, problems);
  auto plan = std::make_unique<Plan>();
  plan->name = written.name.value;
  plan->description = written.description;
  plan->file = file;
  plan->settle = written.settle;
  take_control(written, bench, *plan, problems);
  take_start(written, bench, *plan, problems);
  take_requires(written, bench, catalogue, *plan, problems);
  take_expected_faults(written, *plan, problems);
  plan->steps = std::move(written.steps);
  StepNames names;
  collect_names(plan->steps, names, problems);
  read_criteria(written, {bench, catalogue, names.steps, names.repeats}, *plan, problems);
  // Worked out here as well, so that what the steps break is told together with the rest.
  if (const auto timeline = Timeline::compile(*plan, bench, problems)) check_followed(*plan, *timeline, problems);
  return plan;
}

void add_order(const std::vector<PlanStep>& steps, const std::vector<std::string>& kinds, std::size_t most,
               std::vector<std::string>& order) {
  for (const auto& step : steps) {
    if (std::find(kinds.begin(), kinds.end(), step.what.kind) != kinds.end() && order.size() < most)
      order.push_back(step.name);
    const auto* kind = find_stimulus(step.what.kind);
    if (kind == nullptr || !kind->body || !step.what.value.has_value()) continue;
    const auto body = kind->body(step.what.value);
    for (std::int64_t i = 0; i < body.times && order.size() < most; ++i) {
      const auto before = order.size();
      add_order(body.steps, kinds, most, order);
      if (order.size() == before) break;  // none of these kinds in it
    }
  }
}

std::unique_ptr<Plan> read_recorded(const Node& root, const std::string& file, const Bench& recorded,
                                    const Catalogue& catalogue, Problems& problems) {
  WrittenPlan written;
  plan_fields().read(root, written, problems);
  auto plan = std::make_unique<Plan>();
  plan->name = written.name.value;
  plan->description = written.description;
  plan->file = file;
  plan->of_recording = true;
  StepNames names;
  plan->steps = std::move(written.steps);
  collect_names(plan->steps, names, problems);
  read_criteria(written, {recorded, catalogue, names.steps, names.repeats, true}, *plan, problems);
  return plan;
}

// A text whose variable is not known is told once, not again as a bad quantity.
void tell(const Problems& of_variables, const Problems& others, Problems& problems) {
  const auto first = of_variables.sorted();
  for (const auto& p : first) problems.add(p.at, p.found, p.allowed, p.advice);
  for (const auto& p : others.sorted()) {
    const auto same = [&](const Problem& v) { return v.at.line == p.at.line && v.at.column == p.at.column; };
    if (std::none_of(first.begin(), first.end(), same)) problems.add(p.at, p.found, p.allowed, p.advice);
  }
}

}  // namespace

const Fields<WrittenPlan>& plan_fields() {
  static const auto fields =
      Fields<WrittenPlan>{"a plan", "What to do on a bench and what to expect"}
          .need("plan", &WrittenPlan::name, name(), "name of the plan")
          .may("description", &WrittenPlan::description, text(), "what the plan is for, in a sentence")
          .may("variables", &WrittenPlan::variables, raw(),
               "names and default values; \"${name}\" in a text stands for the value")
          .may("grids", &WrittenPlan::grids, grids_shape(),
               "combinations of values, by name, for which steps and criteria are worked out")
          .may("control", &WrittenPlan::control, dictionary(located(control_mode())),
               "control mode of each axis that the plan drives")
          .may("start", &WrittenPlan::start, dictionary(any_quantity()),
               "values of driven signals before the first step")
          .may("requires", &WrittenPlan::needs, dictionary(written_identity()),
               "what a device, or the \"unit\" under test, must say of itself before anything moves: name and text, or "
               "a "
               "list of texts that are allowed")
          .may("expected_faults", &WrittenPlan::expected_faults, list(located(text())),
               "trouble codes that may be active when the run begins, six hexadecimal digits each; any other one makes "
               "the "
               "run invalid")
          .may("settle", &WrittenPlan::settle, duration(Duration{0}, longest_time),
               "how long the start values are held before the first step")
          .need("steps", &WrittenPlan::steps, element_list(), "what is done, in order")
          .may("criteria", &WrittenPlan::criteria, list(raw()), "what is scored and what it may be");
  return fields;
}

std::vector<std::string> order_of(const Plan& plan, const std::vector<std::string>& kinds, std::size_t most) {
  std::vector<std::string> order;
  add_order(plan.steps, kinds, most, order);
  return order;
}

Result<Sources> load_plan_sources(const std::string& path) {
  auto text = read_text(path);
  if (!text) return tl::unexpected<Error>{text.error()};
  return Sources{{path, std::move(*text)}};
}

namespace {

using PlanReader = std::unique_ptr<Plan>(const Node&, const std::string&, const Bench&, const Catalogue&, Problems&);

std::unique_ptr<Plan> parse_by(PlanReader& read, const Sources& sources, const Assignments& set, const Bench& bench,
                               const Catalogue& catalogue, Problems& problems) {
  const auto before = problems.count();
  const auto& [file, text] = sources.front();
  const auto root = parse_json(text, file, problems);
  if (!root) return nullptr;
  Problems of_variables, others;
  const auto left_out = expand_grids(*root, of_variables);
  expand_seeks(*root, of_variables);
  replace_variables(*root, set, of_variables);
  auto plan = read(*root, file, bench, catalogue, others);
  plan->left_out = left_out;
  tell(of_variables, others, problems);
  if (problems.count() > before) return nullptr;
  return plan;
}

}  // namespace

std::unique_ptr<Plan> parse_plan(const Sources& sources, const Assignments& set, const Bench& bench,
                                 const Catalogue& catalogue, Problems& problems) {
  return parse_by(read_plan, sources, set, bench, catalogue, problems);
}

std::unique_ptr<Plan> parse_criteria(const Sources& sources, const Assignments& set, const Bench& recorded,
                                     const Catalogue& catalogue, Problems& problems) {
  return parse_by(read_recorded, sources, set, recorded, catalogue, problems);
}

}  // namespace trackrod
