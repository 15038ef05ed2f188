#include "harness/plan/grids.hpp"

#include <algorithm>
#include <set>

#include "harness/plan/combinations.hpp"
#include "harness/plan/stimulus.hpp"
#include "harness/plan/variables.hpp"

namespace trackrod {
namespace {

struct WrittenGrid {
  std::vector<std::pair<Name, Located<std::vector<Node>>>> over;
  bool pairs{false};
  std::vector<Node> without;
};

const Fields<WrittenGrid>& grid_fields() {
  static const auto fields =
      Fields<WrittenGrid>{"a grid", "Combinations of values for which steps and criteria are worked out"}
          .need("over", &WrittenGrid::over, dictionary(located(list(raw(), 1, 1000))),
                "axes by name, each a list of values: texts, numbers, or objects of both with a \"name\"")
          .may("take", &WrittenGrid::pairs, choice<bool>({{"all", false}, {"pairs", true}}),
               "all combinations, or as few as hold every pair of values of two axes; \"all\" when not given")
          .may("without", &WrittenGrid::without, list(raw()),
               "combinations that are not made: objects of axis and value, or the name of a value");
  return fields;
}

// What a value is called in "without".
std::string called(const Node& value) {
  const auto* name = value.kind == Node::Kind::object ? value.find("name") : &value;
  return name != nullptr ? name->text : "";
}

struct Grid {
  std::string name;
  std::vector<std::pair<std::string, std::vector<Node>>> axes;
  std::vector<Combination> combinations;
};

// False after telling why it is no value.
bool is_value(const Node& value, Problems& problems) {
  const auto simple = [](const Node& n) { return n.kind == Node::Kind::text || n.kind == Node::Kind::number; };
  if (simple(value)) return true;
  const bool named = value.kind == Node::Kind::object && value.find("name") != nullptr &&
                     std::ranges::all_of(value.members, [&](const auto& m) { return simple(m.value); });
  if (!named)
    problems.add(value.at, "found " + value.shown(), "a text, a number, or an object of these with a \"name\"");
  return named;
}

// Indices by axis; empty where the object leaves the axis open.
std::vector<Exclusion> exclusions_of(const WrittenGrid& written, const Grid& grid, Problems& problems) {
  std::vector<Exclusion> all;
  for (const auto& w : written.without) {
    Exclusion e(grid.axes.size());
    if (w.kind != Node::Kind::object || w.members.empty()) {
      problems.add(w.at, "found " + w.shown(), "an object of axis and value");
      continue;
    }
    for (const auto& m : w.members) {
      const auto axis = std::ranges::find(grid.axes, m.key, [](const auto& a) { return a.first; });
      if (axis == grid.axes.end()) {
        problems.add(m.key_at, "no axis '" + m.key + "'", "an axis of '" + grid.name + "'");
        continue;
      }
      const auto value = std::ranges::find(axis->second, called(m.value), called);
      if (value == axis->second.end())
        problems.add(m.value.at, "found " + m.value.shown(), "a value of the axis '" + m.key + "', or its name");
      else
        e[static_cast<std::size_t>(axis - grid.axes.begin())] = static_cast<std::size_t>(value - axis->second.begin());
    }
    all.push_back(std::move(e));
  }
  return all;
}

class Expander {
 public:
  Expander(const Node& section, Problems& problems) : problems_{problems} {
    for (const auto& m : section.members) {
      WrittenGrid written;
      if (grid_fields().read(m.value, written, problems)) add(m.key, written);
    }
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

  void add(const std::string& name, const WrittenGrid& written) {
    Grid grid{name, {}, {}};
    std::vector<std::size_t> sizes;
    bool good = true;
    for (const auto& [axis, values] : written.over) {
      std::set<std::string> names;
      for (const auto& value : values.value) {
        good = is_value(value, problems_) && good;
        if (names.insert(called(value)).second) continue;
        problems_.add(value.at, value.shown() + " a second time", "each value of an axis once");
        good = false;
      }
      grid.axes.emplace_back(axis.value, values.value);
      sizes.push_back(values.value.size());
    }
    const auto without = exclusions_of(written, grid, problems_);
    if (!good) return;
    grid.combinations = written.pairs ? every_pair(sizes, without) : every_combination(sizes, without);
    std::size_t all = 1;
    for (const auto size : sizes) all *= size;
    if (written.pairs)
      left_out.push_back("grid '" + name + "': " + std::to_string(grid.combinations.size()) + " of " +
                         std::to_string(all) + " combinations hold every pair of values that may come together");
    else if (grid.combinations.size() < all)
      left_out.push_back("grid '" + name + "': " + std::to_string(all - grid.combinations.size()) + " of " +
                         std::to_string(all) + " combinations are not made, as \"without\" says");
    grids_.push_back(std::move(grid));
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
  static const Node none;
  const auto* section = member(plan, "grids");
  Expander expander{section != nullptr ? *section : none, problems};
  if (auto* steps = member(plan, "steps")) expander.steps(steps->items);
  if (auto* criteria = member(plan, "criteria")) expander.criteria(criteria->items);
  return expander.left_out;
}

}  // namespace trackrod
