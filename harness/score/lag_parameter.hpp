#pragma once
// The parameters of the lag model as a fit sees them.

#include "harness/score/lag_model.hpp"

namespace trackrod {

// Order of the parameters in covariances and gradients. `shape` is ln(natural), `damping` ln(damping).
struct LagParameter {
  enum : int { dead_time, gain, offset, shape, damping, play, friction, count };
};

// The model with one parameter moved, kept within what it may be.
LagModel moved(LagModel model, int which, double by);

// By how much the parameter may be moved each way, at most (>= 0, infinite without a bound).
double room_below(const LagModel& model, int which);
double room_above(const LagModel& model, int which);

}  // namespace trackrod
