#pragma once
// Published courses of a vehicle's supply voltage. Data and what follows from it; pure.

#include <string>
#include <vector>

namespace trackrod {

// A straight line to `to` over `seconds`; with `ripple`, about `to`, where the course already is.
struct SupplyPiece {
  double seconds{0}, to{0};  // s, V
  double ripple{0};          // V, peak to peak; a sine, first upwards
  double ripple_hz{0};
};

struct SupplyProfile {
  std::string name;    // as plans give it
  std::string source;  // standard, edition, clause
  // From the voltage `start` (V), where the supply is, and back to it.
  std::vector<SupplyPiece> (*course)(double start);
};

const std::vector<SupplyProfile>& supply_profiles();

}  // namespace trackrod
