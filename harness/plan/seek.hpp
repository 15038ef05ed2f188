#pragma once
// Seeks the value at which a unit just survives: steps that are tried with harder and easier values.
//
//   {"do": "seek", "value": "drop", "from": "1 ms", "to": "64 ms", "levels": 64, "tries": 30,
//    "survived": {"signal": "unit.state", "at_least": "2"},
//    "steps": [... "for": "${drop}" ...]}

#include "harness/base/node.hpp"
#include "harness/base/problems.hpp"

namespace trackrod {

// Puts in the place of the "steps" of each seek a list of them for each of its levels, from easy to hard, in which
// `${value}` is that level. Other variables stay.
void expand_seeks(Node& plan, Problems& problems);

}  // namespace trackrod
