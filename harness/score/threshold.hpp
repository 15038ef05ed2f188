#pragma once
// The value that half of all tries survive, from tries with one value or another. What is tried may scatter from try to
// try.

#include <optional>
#include <string>
#include <vector>

#include "harness/score/score.hpp"

namespace trackrod {

struct Try {
  double value{0.0};
  bool survived{false};
};
enum class Harder { greater, smaller };
struct Tries {
  std::vector<Try> of;
  Harder harder{Harder::greater};
  double apart{0.0};  // in the values' unit: two that differ by less may be one and the same
  std::string what;   // "length"
  std::string unit;
};

struct Threshold {
  std::optional<double> value;  // in the tries' unit
  Contribution line;            // of its budget: how well the tries bound it
  std::size_t near{0};          // tries that say where it is; 0: only the two below do
  double survived{0.0};         // the hardest one
  double lost{0.0};             // the easiest one
  std::string trouble;          // why there is no value, and what to do
};

// Needs one try of either outcome or more.
//
// Where every one survived was easier than every one lost: the middle between the hardest survived and the easiest
// lost, with half their distance.
//
// Where the outcomes overlap: the share that survives is taken to fall with the value like a logistic distribution of
// any width, up to twice the distance over which both outcomes occur. The value is the middle of the interval in which
// the profile likelihood of the threshold keeps above exp(-t^2 / 2) of its greatest (McCullagh and Nelder, "Generalized
// Linear Models", from memory), t of Student with a quarter of the tries near the overlap, and one, as degrees of
// freedom: with chi squared in its place a staircase of 24 tries holds the truth in 87 to 93 of 100 cases.
//
// Where there are too few tries for that, and the overlap is hardly wider than values that cannot be told apart: the
// middle between those that clearly lie on either side, with half their distance.
Threshold threshold_of(const Tries& tries);

}  // namespace trackrod
