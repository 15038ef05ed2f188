#include "harness/plan/written_grid.hpp"

#include <algorithm>
#include <set>

namespace trackrod {
namespace {

constexpr auto why_key = "why";

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

// Values by axis; empty where the object leaves the axis open.
std::vector<GridExclusion> exclusions_of(const WrittenGrid& written, const Grid& grid, Problems& problems) {
  std::vector<GridExclusion> all;
  for (const auto& w : written.without) {
    GridExclusion e{Exclusion(grid.axes.size()), ""};
    if (w.kind != Node::Kind::object || w.members.empty()) {
      problems.add(w.at, "found " + w.shown(), "an object of axis and value");
      continue;
    }
    for (const auto& m : w.members) {
      if (m.key == why_key) {
        text().read(m.value, e.why, problems);
        continue;
      }
      const auto axis = std::ranges::find(grid.axes, m.key, [](const auto& a) { return a.first; });
      if (axis == grid.axes.end()) {
        problems.add(m.key_at, "no axis '" + m.key + "'", "an axis of '" + grid.name + "'");
        continue;
      }
      const auto value = std::ranges::find(axis->second, called(m.value), called);
      if (value == axis->second.end())
        problems.add(m.value.at, "found " + m.value.shown(), "a value of the axis '" + m.key + "', or its name");
      else
        e.values[static_cast<std::size_t>(axis - grid.axes.begin())] =
            static_cast<std::size_t>(value - axis->second.begin());
    }
    all.push_back(std::move(e));
  }
  return all;
}

std::optional<Grid> worked_out(const std::string& name, const WrittenGrid& written, Problems& problems) {
  Grid grid{name, {}, written.pairs, {}, {}};
  std::vector<std::size_t> sizes;
  bool good = true;
  for (const auto& [axis, values] : written.over) {
    if (axis.value == why_key) {
      problems.add(axis.at, "an axis of the name 'why'", "another name", "in \"without\" this key tells the reason");
      good = false;
    }
    std::set<std::string> names;
    for (const auto& value : values.value) {
      good = is_value(value, problems) && good;
      if (names.insert(called(value)).second) continue;
      problems.add(value.at, value.shown() + " a second time", "each value of an axis once");
      good = false;
    }
    grid.axes.emplace_back(axis.value, values.value);
    sizes.push_back(values.value.size());
  }
  grid.without = exclusions_of(written, grid, problems);
  if (!good) return std::nullopt;
  std::vector<Exclusion> without;
  for (const auto& e : grid.without) without.push_back(e.values);
  grid.combinations = written.pairs ? every_pair(sizes, without) : every_combination(sizes, without);
  return grid;
}

}  // namespace

const Fields<WrittenGrid>& grid_fields() {
  static const auto fields =
      Fields<WrittenGrid>{"a grid", "Combinations of values for which steps and criteria are worked out"}
          .need("over", &WrittenGrid::over, dictionary(located(list(raw(), 1, 1000))),
                "axes by name, each a list of values: texts, numbers, or objects of both with a \"name\"")
          .may("take", &WrittenGrid::pairs, choice<bool>({{"all", false}, {"pairs", true}}),
               "all combinations, or as few as hold every pair of values of two axes; \"all\" when not given")
          .may("without", &WrittenGrid::without, list(raw()),
               "combinations that are not made: objects of axis and value, or the name of a value; \"why\" tells the "
               "reason");
  return fields;
}

std::string called(const Node& value) {
  const auto* name = value.kind == Node::Kind::object ? value.find("name") : &value;
  return name != nullptr ? name->text : "";
}

std::vector<Grid> read_grids(const Node& plan, Problems& problems) {
  std::vector<Grid> grids;
  const auto* section = plan.find("grids");
  if (section == nullptr) return grids;
  for (const auto& m : section->members) {
    WrittenGrid written;
    if (!grid_fields().read(m.value, written, problems)) continue;
    if (auto grid = worked_out(m.key, written, problems)) grids.push_back(std::move(*grid));
  }
  return grids;
}

}  // namespace trackrod
