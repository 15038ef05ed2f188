#pragma once
// Sweeps to and fro cut into branches, and readings of the output at fixed positions of the input.

#include <optional>
#include <string>
#include <vector>

#include "harness/score/score.hpp"
#include "harness/score/series.hpp"

namespace trackrod {

// Both signals at the instants of the output's samples.
struct Sweep {
  std::vector<double> t, x, y;  // s, input, output
  double x_noise{0.0};          // of x: less than in_noise, since it lies between two samples
  double in_noise{0.0}, out_noise{0.0};
  double in_half_width{0.0}, out_half_width{0.0};  // s, of the stamps
  std::string trouble;
};
Sweep read_sweep(const ScoreInput& input, const Span& span);

// A stretch of a sweep between two reversals of the input.
struct Branch {
  const Sweep* sweep{nullptr};
  std::size_t begin{0}, end{0};  // of the samples
  bool rising{true};
  double rate{0.0};  // input unit/s over its middle half, positive
};
std::vector<Branch> branches_of(const Sweep& sweep);

// The output where the branch passes a position of the input, from a local quadratic over +- window.
struct BranchReading {
  double output{0.0};
  double noise{0.0};       // standard uncertainty
  double half_width{0.0};  // what resolution leaves open
  double slope{0.0};       // output unit per input unit
  double rate{0.0};        // input unit/s as it passes, positive
};
struct ReadingRule {
  double window{0.0};  // input unit
  double settle{0.0};  // s after the reversal that are left out
  double in_resolution{0.0}, out_resolution{0.0};
};
// Empty: the branch does not cover the window, or passes it too soon after its reversal.
std::optional<BranchReading> read_branch(const Branch& branch, double position, const ReadingRule& rule);

}  // namespace trackrod
