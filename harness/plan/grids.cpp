#include "harness/plan/grids.hpp"

#include <algorithm>

#include "harness/plan/stimulus.hpp"
#include "harness/plan/variables.hpp"
#include "harness/plan/written_grid.hpp"

namespace trackrod {
namespace {

class Expander {
 public:
  Expander(const Node& plan, Problems& problems) : problems_{problems}, grids_{read_grids(plan, problems)} {
    for (const auto& grid : grids_) tell_left_out(grid);
  }

  void steps(std::vector<Node>& list) {
    std::vector<Node> out;
    for (auto& element : list) {
      for (auto& m : element.members)  // bodies and tracks
        if (m.key == "steps" || m.key == "tracks") inside(m.value);
      const auto* what = element.find("do");
      const auto* body = element.find("steps");
      const bool is_grid = what != nullptr && what->text == "grid" && body != nullptr && body->kind == Node::Kind::list;
      const auto* grid = is_grid ? named(element, "of") : nullptr;
      if (grid == nullptr) {
        out.push_back(std::move(element));
        continue;
      }
      for (const auto& combination : grid->combinations)
        for (const auto& step : body->items) out.push_back(bound(step, *grid, combination));
    }
    list = std::move(out);
  }

  void criteria(std::vector<Node>& list) {
    std::vector<Node> out;
    for (auto& criterion : list) {
      const auto* grid = named(criterion, "grid");
      if (grid == nullptr) {
        out.push_back(std::move(criterion));
        continue;
      }
      std::erase_if(criterion.members, [](const auto& m) { return m.key == "grid"; });
      for (const auto& combination : grid->combinations) out.push_back(bound(criterion, *grid, combination));
    }
    list = std::move(out);
  }

  std::vector<std::string> left_out;

 private:
  void inside(Node& value) {
    if (value.kind != Node::Kind::list) return;
    steps(value.items);
    for (auto& track : value.items)
      if (track.kind == Node::Kind::list) steps(track.items);
  }

  void tell_left_out(const Grid& grid) {
    std::size_t all = 1;
    for (const auto& axis : grid.axes) all *= axis.second.size();
    if (grid.pairs)
      left_out.push_back("grid '" + grid.name + "': " + std::to_string(grid.combinations.size()) + " of " +
                         std::to_string(all) + " combinations hold every pair of values that may come together");
    else if (grid.combinations.size() < all)
      left_out.push_back("grid '" + grid.name + "': " + std::to_string(all - grid.combinations.size()) + " of " +
                         std::to_string(all) + " combinations are not made, as \"without\" says");
  }

  // The grid that the object names, or null; then told, unless it names none.
  const Grid* named(const Node& object, const std::string& key) {
    const auto* name = object.find(key);
    if (name == nullptr) return nullptr;
    const auto at = std::ranges::find(grids_, name->text, &Grid::name);
    if (at != grids_.end()) return &*at;
    problems_.add(name->at, "found " + name->shown(), "the name of one of the plan's \"grids\"");
    return nullptr;
  }

  static Node bound(const Node& node, const Grid& grid, const Combination& combination) {
    VariableValues values;
    for (std::size_t a = 0; a < grid.axes.size(); ++a) {
      const auto& [axis, choices] = grid.axes[a];
      const auto& value = choices[combination[a]];
      if (value.kind != Node::Kind::object) values.emplace(axis, value);
      for (const auto& m : value.members) values.emplace(axis + "." + m.key, m.value);
    }
    Node out = node;
    replace_known(out, values);
    return out;
  }

  Problems& problems_;
  std::vector<Grid> grids_;
};

// The element as it is written; a plan that is read has its steps instead.
struct GridElement {
  Name of;
  std::vector<PlanStep> steps;
};
const Fields<GridElement>& element_of_grid_fields() {
  static const auto fields =
      Fields<GridElement>{"a grid's steps", "The steps inside, once for each combination of a grid of the plan"}
          .need("of", &GridElement::of, name(), "name of the grid, under \"grids\"")
          .need("steps", &GridElement::steps, element_list(),
                "what is done; a name in it must hold what tells the combinations apart, as \"cell.${fault.name}\"");
  return fields;
}

Node* member(Node& object, const std::string& key) {
  const auto at = std::ranges::find(object.members, key, &Node::Member::key);
  return at == object.members.end() ? nullptr : &at->value;
}

}  // namespace

StimulusKind grid_element() {
  // One that is left when the plan is read named no grid, which is told.
  return {kind("grid", element_of_grid_fields),
          {},
          [](const PlanStep&, Drafting&) { return std::vector<TimelineItem>{}; },
          {}};
}

Shape<Node> grids_shape() {
  const auto described = dictionary(object(grid_fields));
  return {raw().read, [described](SchemaBook& book) { return described.schema(book); }};
}

std::vector<std::string> expand_grids(Node& plan, Problems& problems) {
  Expander expander{plan, problems};
  if (auto* steps = member(plan, "steps")) expander.steps(steps->items);
  if (auto* criteria = member(plan, "criteria")) expander.criteria(criteria->items);
  return expander.left_out;
}

}  // namespace trackrod
