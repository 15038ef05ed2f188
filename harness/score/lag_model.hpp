#pragma once
// The model behind the score `delay`: the measured input, a dead time, a lag of first or second order, a gain, and lost
// motion (a play operator) at the end.
//   w(t) = gain * (G input)(t - dead_time) + offset;  output = w within a gap of total width `play`

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
  double play{0.0};  // total gap, unit of the output

  // Lag of w on a steady ramp without the dead time, s: time constant, or 2 damping / natural.
  double slowness() const { return order == LagOrder::first ? 1.0 / natural : 2.0 * damping / natural; }
};

// A stretch of measurement: the input on an even grid, the output where it was sampled.
struct Stretch {
  double start{0.0};  // s, of the grid
  double dt{0.0};     // s
  std::vector<double> input;
  std::vector<double> t, output;  // s; all after `start`
};

// G input on the grid, with its rate (per s). Exact for an input that is straight between grid points; begins as if the
// first slope of the input had always been there.
struct Response {
  std::vector<double> value, rate;
};
Response lag_response(const Stretch& stretch, const LagModel& model);

// The model's output at the stretch's output instants. The gap begins where the measured output stands.
std::vector<double> model_output(const Stretch& stretch, const LagModel& model, const Response& response);

}  // namespace trackrod
