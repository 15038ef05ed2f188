#pragma once
// Dry friction that gives before it slides: a spring in series with a Coulomb slider (Prandtl 1928; from memory). What
// it holds depends on the way alone, not on the rate. Over a cycle of half-width A it takes 4 F (A - F/k) of work.

#include <algorithm>

namespace trackrod {

class Presliding {
 public:
  // `stiffness`: force by way.
  explicit Presliding(double stiffness) noexcept : stiffness_{stiffness} {}

  // The force on what has `moved`, at most `limit` and against the motion.
  double advance(double moved, double limit) noexcept {
    return force_ = std::clamp(force_ - stiffness_ * moved, -limit, limit);
  }
  // Keeps only this share, 0 to 1, of the force.
  void let_go(double share) noexcept { force_ *= share; }

 private:
  double stiffness_;
  double force_{0.0};
};

}  // namespace trackrod
