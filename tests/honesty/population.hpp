#pragma once
// Populations of captures with random truth, against which the stated intervals are held. A new one is one file and one
// line in populations().

#include <functional>
#include <random>
#include <string>
#include <utility>
#include <vector>

#include "harness/score/score.hpp"

namespace trackrod::test {

// What one capture says of one finding.
struct Held {
  std::string row;  // of the table: "dead_time", "gain at 2 Hz"
  Finding finding;
  double truth;
};
// A finding that says which of several things is so.
struct Told {
  std::string row;
  std::string truth, said;
};
struct Drawn {
  std::vector<Held> held;
  std::vector<Told> told;
  std::vector<std::string> strata;  // to which this capture belongs: "few cycles", "coarse sensor"
};

// What may be asked of the findings.
enum class Claim {
  interval,  // two-sided intervals: 93 to 97 % hold the truth, and neither end is missed more often than the other
  bracket,   // the truth lies between two samples or two trials: 95 % hold it, or more
  stranger   // the unit is not what the method takes it for: shown, not judged
};

struct Population {
  std::string score;
  std::string what;  // is simulated, in a few words
  Claim claim{Claim::interval};
  std::function<Drawn(std::mt19937_64&)> draw;
};
const std::vector<Population>& populations();

// Random numbers as the populations draw them.
struct Draw {
  std::mt19937_64& random;
  double even(double low, double high) { return std::uniform_real_distribution<double>{low, high}(random); }
  double normal(double sd) { return std::normal_distribution<double>{0.0, sd}(random); }
  bool chance(double share) { return even(0.0, 1.0) < share; }
};

}  // namespace trackrod::test
