#pragma once
// Combinations of values, one from each axis. Pure and deterministic.

#include <cstddef>
#include <optional>
#include <vector>

namespace trackrod {

using Combination = std::vector<std::size_t>;               // by axis: which of its values
using Exclusion = std::vector<std::optional<std::size_t>>;  // never together; empty: whatever the value

// All, the last axis fastest. `sizes`: values of each axis, at least one.
std::vector<Combination> every_combination(const std::vector<std::size_t>& sizes,
                                           const std::vector<Exclusion>& without);

// Few in which every pair of values of two axes occurs at least once, unless an exclusion forbids all that would hold
// it: greedy, one combination after another for the first pair that is open, its other values chosen for the pairs that
// they close. With one axis, each value once.
std::vector<Combination> every_pair(const std::vector<std::size_t>& sizes, const std::vector<Exclusion>& without);

}  // namespace trackrod
