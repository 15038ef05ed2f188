#include "harness/plan/supply_profile.hpp"

namespace trackrod {
namespace {

using Course = std::vector<SupplyPiece>;

// 0.5 V a minute.
Course fall_and_rise(double start) { return {{120 * start, 0}, {120 * start, start}}; }

// Edges of 10 ms, the slowest that the clause has.
Course drop_to(double low, double start) { return {{0.01, low}, {0.1, low}, {0.01, start}}; }

// Lower by another twentieth of the start each time: 5 s there, 10 s back at the start, for a test of function. Edges
// of 10 ms, as the clause has none.
Course reset_steps(double start) {
  Course all;
  for (int step = 1; step <= 20; ++step) {
    const double low = start * (20 - step) / 20;
    for (const auto& piece : Course{{0.01, low}, {5, low}, {0.01, start}, {10, start}}) all.push_back(piece);
  }
  return all;
}

Course overvoltage(double high, double start) { return {{0.001, high}, {0.4, high}, {0.001, start}}; }

// Times in s, voltages in V, of one line of the table: while the starter breaks away, and while it turns.
struct Starting {
  double fall, breakaway, rise, turning, back;
  double lowest, turned;
};
Course starting(const Starting& s, double start) {
  constexpr double ripple = 2.0, ripple_hz = 2.0;
  return {{s.fall, s.lowest},
          {s.breakaway, s.lowest},
          {s.rise, s.turned},
          {s.turning, s.turned, ripple, ripple_hz},
          {s.back, start}};
}

}  // namespace

// The voltages of the 12 V starting profile, the slow rate and the overvoltage come from published requirements that
// cite the standard; all other figures are from memory.
const std::vector<SupplyProfile>& supply_profiles() {
  static const std::vector<SupplyProfile> all{
      {"slow fall and rise", "ISO 16750-2:2023, 4.5", fall_and_rise},
      {"momentary drop, 12 V", "ISO 16750-2:2023, 4.6.1", [](double start) { return drop_to(4.5, start); }},
      {"momentary drop, 24 V", "ISO 16750-2:2023, 4.6.1", [](double start) { return drop_to(9.0, start); }},
      {"reset steps", "ISO 16750-2:2023, 4.6.2", reset_steps},
      {"transient overvoltage, 12 V", "ISO 16750-2:2023, 4.3.2", [](double start) { return overvoltage(18.0, start); }},
      {"starting, 12 V, level I", "ISO 16750-2:2012, 4.6.3, table 3",
       [](double start) {
         return starting({0.005, 0.015, 0.05, 1, 0.04, 8, 9.5}, start);
       }},
      {"starting, 12 V, level II", "ISO 16750-2:2012, 4.6.3, table 3",
       [](double start) {
         return starting({0.005, 0.015, 0.05, 10, 0.1, 4.5, 6.5}, start);
       }},
      {"starting, 12 V, level III", "ISO 16750-2:2012, 4.6.3, table 3",
       [](double start) {
         return starting({0.005, 0.015, 0.05, 1, 0.1, 3, 5}, start);
       }},
      {"starting, 12 V, level IV", "ISO 16750-2:2012, 4.6.3, table 3",
       [](double start) {
         return starting({0.005, 0.015, 0.05, 10, 0.1, 6, 6.5}, start);
       }},
      {"starting, 24 V, level I", "ISO 16750-2:2012, 4.6.3, table 4",
       [](double start) {
         return starting({0.01, 0.05, 0.05, 1, 0.04, 10, 20}, start);
       }},
      {"starting, 24 V, level II", "ISO 16750-2:2012, 4.6.3, table 4",
       [](double start) {
         return starting({0.01, 0.05, 0.05, 10, 0.1, 8, 15}, start);
       }},
      {"starting, 24 V, level III", "ISO 16750-2:2012, 4.6.3, table 4",
       [](double start) {
         return starting({0.01, 0.05, 0.05, 1, 0.04, 6, 10}, start);
       }},
  };
  return all;
}

}  // namespace trackrod
