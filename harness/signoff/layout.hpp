#pragma once
// Which axes of a grid are the rows of its matrix, and which the columns.

#include <string>
#include <utility>
#include <vector>

#include "harness/plan/grid_cells.hpp"
#include "harness/report/matrix.hpp"

namespace trackrod {

// An empty matrix with its names, and for each of its cells, row by row, the cell of the grid. Rows: the axes that have
// a value among `faults`, else the first one.
struct Layout {
  Matrix matrix;
  std::vector<std::size_t> of_grid;  // indices into GridCells::cells
};
Layout lay_out(const GridCells& grid, const std::vector<std::string>& faults);

}  // namespace trackrod
