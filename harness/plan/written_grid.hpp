#pragma once
// The "grids" of a plan as they are written: their axes and values, and the combinations that are made of them.

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "harness/base/fields.hpp"
#include "harness/plan/combinations.hpp"

namespace trackrod {

struct WrittenGrid {
  std::vector<std::pair<Name, Located<std::vector<Node>>>> over;
  bool pairs{false};
  std::vector<Node> without;
};
const Fields<WrittenGrid>& grid_fields();

// Combinations that are not made, and what the plan says of it; mostly empty.
struct GridExclusion {
  Exclusion values;
  std::string why;
};

struct Grid {
  std::string name;
  std::vector<std::pair<std::string, std::vector<Node>>> axes;
  bool pairs{false};
  std::vector<GridExclusion> without;
  std::vector<Combination> combinations;  // that are made
};

// What a value of an axis is called: its "name", or the value itself.
std::string called(const Node& value);
// The plan's grids. Those with problems are told and left out.
std::vector<Grid> read_grids(const Node& plan, Problems& problems);

}  // namespace trackrod
