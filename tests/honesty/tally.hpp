#pragma once
// Draws captures of a population and counts what their findings hold.

#include <cstdint>
#include <map>
#include <string>
#include <vector>

#include "tests/honesty/population.hpp"

namespace trackrod::test {

struct Share {
  int of{0}, held{0};
};
// One finding over all captures of a population.
struct Row {
  std::string name;
  Claim claim{Claim::interval};
  int captures{0}, refused{0}, below{0}, above{0}, held{0};  // below: the truth is below the interval
  // Passed under the guarded rule by a limit that the truth does not keep by a hair: an upper one, a lower one.
  int passed_high{0}, passed_low{0};
  double bias{0.0};  // median of value less truth, in median standard uncertainties
  double width{
      0.0};  // median half-width, of the half-width that holds 95 % of all errors: what one who knows them would say
  std::map<std::string, Share> strata;
  std::map<std::string, int> refusals;  // by reason
  int stated() const { return captures - refused; }
};
// Of findings that say which: how often it was so.
struct Confusion {
  std::string name;
  std::map<std::pair<std::string, std::string>, int> count;  // truth, said
  int captures() const;
  int wrong() const;
  // Upper end of the share that is wrong, with 95 % confidence (Clopper and Pearson).
  double wrong_at_most() const;
};
struct Tally {
  std::vector<Row> rows;
  std::vector<Confusion> confusions;
};

// Each capture has random numbers of its own from `seed` and its number, so that neither threads nor their count change
// the outcome. Throws what a population throws.
Tally tally(const Population& population, int captures, std::uint64_t seed);

// How a count of few captures is judged: by the bare limits, or with room for chance, until it is met once in a
// thousand.
enum class Limits { bare, with_chance };

// What is wrong with a row, in words; empty: nothing.
std::vector<std::string> complaints(const Row& row, Limits limits);
std::vector<std::string> complaints(const Confusion& confusion, Limits limits);

}  // namespace trackrod::test
