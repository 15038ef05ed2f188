#pragma once
// Grids of a plan: steps and criteria written once and worked out for many combinations of values.
//
//   "grids": {"campaign": {"over": {"fault": [{"name": "a", "code": 13}, ...], "speed": ["10 km/h", "60 km/h"]}}}
//   "steps": [{"do": "grid", "of": "campaign", "steps": [... "${fault.name}" ... "${speed}" ...]}]
//   "criteria": [{"grid": "campaign", ...}]

#include <string>
#include <vector>

#include "harness/base/fields.hpp"
#include "harness/base/node.hpp"

namespace trackrod {

// Puts in the place of each "grid" element its steps, and in the place of each criterion with a grid the criteria, once
// for each combination; `${axis}` and `${axis.member}` in their texts stand for its values. Other variables stay. The
// result: what was left out, in sentences.
std::vector<std::string> expand_grids(Node& plan, Problems& problems);

// Of "grids", for editors.
Shape<Node> grids_shape();

}  // namespace trackrod
