#include "harness/signoff/layout.hpp"

#include <algorithm>

namespace trackrod {
namespace {

// Some of a grid's axes as one: "motor_1_open + hand_a_open".
class Side {
 public:
  Side(const GridCells& grid, std::vector<std::size_t> axes, std::string between)
      : grid_{grid}, axes_{std::move(axes)}, between_{std::move(between)} {}

  std::string title() const {
    return joined([&](std::size_t axis) { return grid_.axes[axis].name; });
  }
  std::vector<std::string> names() const {
    std::size_t count = 1;
    for (const auto axis : axes_) count *= grid_.axes[axis].values.size();
    std::vector<std::string> names(count);
    for (const auto& cell : grid_.cells)
      names[index(cell.values)] = joined([&](std::size_t axis) { return grid_.axes[axis].values[cell.values[axis]]; });
    return names;
  }
  std::size_t index(const Combination& values) const {
    std::size_t index = 0;
    for (const auto axis : axes_) index = index * grid_.axes[axis].values.size() + values[axis];
    return index;
  }

 private:
  template <class Name>
  std::string joined(const Name& name) const {
    std::string out;
    for (const auto axis : axes_) out += (out.empty() ? "" : between_) + name(axis);
    return out.empty() ? "all" : out;
  }

  const GridCells& grid_;
  std::vector<std::size_t> axes_;
  std::string between_;
};

bool holds_a_fault(const GridAxis& axis, const std::vector<std::string>& faults) {
  return std::ranges::any_of(axis.values,
                             [&](const auto& value) { return std::ranges::find(faults, value) != faults.end(); });
}

}  // namespace

Layout lay_out(const GridCells& grid, const std::vector<std::string>& faults) {
  std::vector<std::size_t> down, across;
  for (std::size_t axis = 0; axis < grid.axes.size(); ++axis)
    (holds_a_fault(grid.axes[axis], faults) ? down : across).push_back(axis);
  if (down.empty()) {
    down.push_back(across.front());
    across.erase(across.begin());
  }
  const Side rows{grid, down, " + "}, columns{grid, across, ", "};
  Layout out{{grid.name, rows.title(), columns.title(), rows.names(), columns.names(), {}}, {}};
  out.matrix.cells.resize(grid.cells.size());
  out.of_grid.resize(grid.cells.size());
  for (std::size_t i = 0; i < grid.cells.size(); ++i) {
    const auto& values = grid.cells[i].values;
    out.of_grid[rows.index(values) * out.matrix.columns.size() + columns.index(values)] = i;
  }
  return out;
}

}  // namespace trackrod
