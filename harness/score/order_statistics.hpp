#pragma once
// What a number of trials says of all others, whatever their distribution. The trials are taken as independent.

#include <array>
#include <cstddef>
#include <optional>

namespace trackrod {

// One-sided lower bound of a proportion after Clopper and Pearson (1934): with all of n trials good
// (1 - confidence)^(1/n), the success-run formula.
double least_proportion(std::size_t good, std::size_t trials, double confidence);
// Two-sided, half of what is left of the confidence on either side. Needs one trial or more.
std::array<double, 2> proportion_bounds(std::size_t good, std::size_t trials, double confidence);

// The value of that rank, counted from the least as 1, is with `confidence` no less than what `share` of all values
// stay below (Wilks 1941): the least such rank. Empty: too few trials for any.
std::optional<std::size_t> tolerance_rank(std::size_t trials, double share, double confidence);
// The fewest trials for which there is one: 59 for 95 % with 95 %.
std::size_t fewest_for_tolerance(double share, double confidence);

}  // namespace trackrod
