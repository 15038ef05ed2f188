#include "harness/plan/common_keys.hpp"
#include "harness/plan/stimulus.hpp"

namespace trackrod {

const std::vector<StimulusKind>& stimulus_table() {
  static const std::vector<StimulusKind> table{
      hold_stimulus(),   step_stimulus(),    ramp_stimulus(),  staircase_stimulus(), triangle_stimulus(),
      sine_stimulus(),   chirp_stimulus(),   noise_stimulus(), profile_stimulus(),   supply_stimulus(),
      inject_stimulus(), grip_stimulus(),    pulse_stimulus(), repeat_element(),     grid_element(),
      seek_element(),    parallel_element(), road_element(),   wait_element(),
  };
  return table;
}

const StimulusKind* find_stimulus(const std::string& kind) {
  for (const auto& k : stimulus_table())
    if (k.entry.name == kind) return &k;
  return nullptr;
}

const Fields<ElementKeys>& element_fields() {
  static const auto fields = Fields<ElementKeys>{"an element of 'steps'", "One element of a plan"}
                                 .may("name", &ElementKeys::name, maybe(name()),
                                      "name by which criteria find the step's time span; each name once")
                                 .may("implausible", &ElementKeys::implausible_meant, choice<bool>({{"meant", true}}),
                                      "\"meant\": it does on purpose what no vehicle does, as a fault; not noted then");
  return fields;
}

namespace {

std::vector<KindEntry> entries() {
  std::vector<KindEntry> all;
  for (const auto& k : stimulus_table()) all.push_back(k.entry);
  return all;
}

// "/steps/3/steps/0" -> "step-4.1".
std::string name_by_place(const std::string& path) {
  std::string name = "step-", number;
  for (const char c : path + "/") {
    if (c >= '0' && c <= '9') {
      number += c;
    } else if (c == '/' && !number.empty()) {
      name += (name.back() == '-' ? "" : ".") + std::to_string(std::stoul(number) + 1);
      number.clear();
    }
  }
  return name;
}

// Tells what is wrong with the element and marks it, but takes it, so that the others are still looked at.
bool read_element(const Node& n, PlanStep& out, Problems& problems) {
  ElementKeys keys;
  out.complete = read_with_common(n, element_fields(), "do", entries(), keys, out.what, problems);
  out.implausible_meant = keys.implausible_meant;
  if (keys.name) out.given_name = *keys.name;
  out.name = out.given_name.value.empty() ? name_by_place(n.at.path) : out.given_name.value;
  return true;
}

}  // namespace

Shape<std::vector<PlanStep>> element_list() {
  return list(Shape<PlanStep>{read_element,
                              [](SchemaBook& book) {
                                return book.define("element", [&] { return kinds_schema(book, "do", entries()); });
                              }},
              1);
}

}  // namespace trackrod
