#pragma once
// The combinations of a plan's grids as cells, with the criteria that judge each, for who tells of them together.

#include <string>
#include <vector>

#include "harness/plan/combinations.hpp"
#include "harness/plan/plan.hpp"

namespace trackrod {

struct GridAxis {
  std::string name;
  std::vector<std::string> values;  // what each is called
};
struct GridCell {
  Combination values;                 // by axis: which of its values
  std::string left_out;               // why it is not made; empty: it is
  std::vector<std::size_t> criteria;  // indices into Plan::criteria
};
struct GridCells {
  std::string name;
  std::vector<GridAxis> axes;
  std::vector<GridCell> cells;  // all combinations, the last axis fastest
};

// Of the plan file that `plan` gives, which was read without problems. A grid that no criterion names is left out: it
// has nothing to judge. Pure.
std::vector<GridCells> grid_cells(const Sources& plan);

}  // namespace trackrod
