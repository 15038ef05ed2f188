#pragma once
// Variables of a plan: "${name}" in any text stands for a value that --set can change.

#include "harness/base/node.hpp"
#include "harness/plan/plan.hpp"

namespace trackrod {

// Replaces every variable in the texts of `root` by its value: the one in `set`, else the default in "variables". A
// text that is a variable and nothing else becomes a number when the variable's default is one. Tells of unknown
// variables in texts and in `set`. Places stay those of the texts.
void replace_variables(Node& root, const Assignments& set, Problems& problems);

}  // namespace trackrod
