#pragma once
// Variables of a plan: "${name}" in any text stands for a value that --set can change.

#include <map>
#include <string>

#include "harness/base/node.hpp"
#include "harness/plan/plan.hpp"

namespace trackrod {

using VariableValues = std::map<std::string, Node>;  // texts and numbers, by name

// Replaces the variables that are among these in all texts below `n`; others stay as they are.
void replace_known(Node& n, const VariableValues& values);

// Replaces every variable in the texts of `root` by its value: the one in `set`, else the default in "variables". A
// text that is a variable and nothing else becomes a number when the variable's default is one. Tells of unknown
// variables in texts and in `set`. Places stay those of the texts.
void replace_variables(Node& root, const Assignments& set, Problems& problems);

}  // namespace trackrod
