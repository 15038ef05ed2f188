#pragma once
// The model behind the score `delay`: the measured input, a lag of first or second order that Coulomb friction holds
// back, a dead time, a gain, and play at the end.
//   second order: v'' = natural^2 (input - v -+ friction) - 2 damping natural v', the sign against the motion; at a
//   standstill v stays while |input - v| <= friction.  First order: v' = natural (input - v -+ friction), likewise.
//   w(t) = gain * v(t - dead_time) + offset;  output = w within a gap of total width `play`

#include <cmath>
#include <vector>

namespace trackrod {

enum class LagOrder { first, second };

struct LagModel {
  LagOrder order{LagOrder::second};
  double dead_time{0.0};  // s
  double natural{60.0};   // rad/s: natural frequency; first order: 1 / time constant
  double damping{1.0};    // second order only
  double gain{1.0};
  double offset{0.0};
  double play{0.0};      // total gap, unit of the output
  double friction{0.0};  // half of what it adds to the gap, unit of the input

  // Lag of w on a steady ramp without the dead time, s: time constant, or 2 damping / natural.
  double slowness() const { return order == LagOrder::first ? 1.0 / natural : 2.0 * damping / natural; }
  // White noise of the input of density d (variance times time between samples) leaves the lag with the variance d
  // times this, 1/s: the integral over time of the squared answer to an impulse.
  double noise_bandwidth() const { return order == LagOrder::first ? 0.5 * natural : 0.25 * natural / damping; }
  // What a slow sweep to and fro shows as a gap, unit of the output.
  double lost_motion() const { return play + 2.0 * friction * std::abs(gain); }
};

// A stretch of measurement: the input on an even grid, the output where it was sampled.
struct Stretch {
  double start{0.0};  // s, of the grid
  double dt{0.0};     // s
  std::vector<double> input;
  std::vector<double> t, output;  // s; all after `start`
  double start_output{0.0};       // measured at `start`
  double noise_density{0.0};      // of the input: variance of its white noise times the time between samples
  double rounding{0.0};           // of the output: variance that its resolution makes
};

// v on the grid, with its rate (per s). Exact for an input that is straight between grid points; where friction stops
// or starts the motion, the instant is placed within the grid cell. Begins as if the first slope of the input had
// always been there; at rest, near where the measured output says.
struct LagResponse {
  std::vector<double> value, rate;
  bool begun_by_output{false};  // at rest, where the measured output says: gain, offset and play move it
  // Between grid points; `position` counts them from 0, and is kept within.
  double value_at(double position, double dt) const;
  double rate_at(double position) const;
};
LagResponse lag_response(const Stretch& stretch, const LagModel& model);

// Where the response is that shows at t (s).
double position_of(const Stretch& stretch, const LagModel& model, double t);

// The model's output at the stretch's output instants. The gap begins where the output was measured at the start, and
// is followed through times without output samples.
struct ModelOutput {
  std::vector<double> value;
  // By output: which side of the gap pushed last, 1 upwards, -1 downwards, 0 neither yet; and where the response was.
  std::vector<signed char> side;
  std::vector<double> pushed_at;
};
ModelOutput model_output(const Stretch& stretch, const LagModel& model, const LagResponse& response);

}  // namespace trackrod
