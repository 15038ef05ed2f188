// road: the load model has the rack while the steps inside run. The load comes in before the first of them and runs to
// zero after the last.

#include "harness/load/load_model.hpp"
#include "harness/plan/drafting.hpp"

namespace trackrod {
namespace {

struct Road {
  double grip{1.0};
  std::vector<PlanStep> steps;
};

const Fields<Road>& road_fields() {
  static const auto fields =
      Fields<Road>{"a road", "Lets the bench's load model make the force at the rack while the steps inside run"}
          .may("grip", &Road::grip, number(0.0, LoadModel::greatest_grip),
               "of the tyres where it begins, by that of the dry road; default 1")
          .need("steps", &Road::steps, element_list(), "what is done on it, in order");
  return fields;
}

std::vector<TimelineItem> road_items(const PlanStep& step, Drafting& draft) {
  const auto& road = std::any_cast<const Road&>(step.what.value);
  const bool on = draft.enter_road(road.grip, step.what.at);
  std::vector<TimelineItem> items;
  if (on) {
    TimelineStep coming;
    coming.length = draft.bench().load->fade;
    coming.grip = Motion{road.grip};
    items.push_back(draft.add(step, std::move(coming)));
  }
  for (auto& item : draft.program(road.steps)) items.push_back(std::move(item));
  if (!on) return {};
  draft.leave_road();
  TimelineStep leaving;
  leaving.load = LoadUse::leaving;
  leaving.length = draft.bench().load->fade + 2 * draft.bench().tick;  // ends with no load, however the ticks fall
  items.push_back(draft.add(step, std::move(leaving)));
  return items;
}

Body road_body(const std::any& settings) { return {std::any_cast<const Road&>(settings).steps}; }

}  // namespace

StimulusKind road_element() { return {kind("road", road_fields), {}, road_items, road_body}; }

}  // namespace trackrod
