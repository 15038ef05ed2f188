#include "harness/plan/grid_cells.hpp"

#include <algorithm>

#include "harness/plan/written_grid.hpp"

namespace trackrod {
namespace {

bool holds(const Exclusion& e, const Combination& c) {
  for (std::size_t a = 0; a < c.size(); ++a)
    if (e[a] && c[a] != *e[a]) return false;
  return true;
}

std::string why_not(const Grid& grid, const Combination& c) {
  const auto e = std::ranges::find_if(grid.without, [&](const GridExclusion& w) { return holds(w.values, c); });
  if (e == grid.without.end()) return "its pairs of values are held by other cells";
  return e->why.empty() ? "\"without\" of the plan, which tells no reason" : e->why;
}

GridCells cells_of(const Grid& grid) {
  GridCells out{grid.name, {}, {}};
  std::vector<std::size_t> sizes;
  for (const auto& [axis, values] : grid.axes) {
    auto& names = out.axes.emplace_back(GridAxis{axis, {}}).values;
    for (const auto& value : values) names.push_back(called(value));
    sizes.push_back(values.size());
  }
  for (auto& c : every_combination(sizes, {})) {
    const bool made = std::ranges::find(grid.combinations, c) != grid.combinations.end();
    const auto why = made ? "" : why_not(grid, c);
    out.cells.push_back({std::move(c), why, {}});
  }
  return out;
}

}  // namespace

std::vector<GridCells> grid_cells(const Sources& plan) {
  Problems none;  // they were told when the plan was read
  const auto root = parse_json(plan.front().second, plan.front().first, none);
  if (!root) return {};
  const auto grids = read_grids(*root, none);
  std::vector<GridCells> all;
  for (const auto& grid : grids) all.push_back(cells_of(grid));
  std::vector<bool> judged(grids.size(), false);
  std::size_t next = 0;  // criterion of the plan that is read: one with a grid comes once for each combination
  const auto* criteria = root->find("criteria");
  for (const auto& criterion : criteria != nullptr ? criteria->items : std::vector<Node>{}) {
    const auto* name = criterion.find("grid");
    const auto at = name == nullptr ? grids.end() : std::ranges::find(grids, name->text, &Grid::name);
    if (at == grids.end()) {
      ++next;
      continue;
    }
    const auto g = static_cast<std::size_t>(at - grids.begin());
    judged[g] = true;
    for (const auto& combination : at->combinations)
      std::ranges::find(all[g].cells, combination, &GridCell::values)->criteria.push_back(next++);
  }
  std::vector<GridCells> out;
  for (std::size_t g = 0; g < all.size(); ++g)
    if (judged[g]) out.push_back(std::move(all[g]));
  return out;
}

}  // namespace trackrod
