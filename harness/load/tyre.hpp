#pragma once
// Lateral force of the two tyres of an axle: the brush model with a parabolic pressure over the contact (Fiala 1954,
// "Seitenkräfte am rollenden Luftreifen"; Pacejka, "Tire and Vehicle Dynamics", chapter 3; from memory).
//
// Slip is the tangent of the slip angle, positive where it pushes to the left (the tyre points to the left of where it
// goes), and so is the force. Grip scales the friction of tyre on road, not the stiffness. Any thread, no errors.

namespace trackrod {

class Tyre {
 public:
  // `stiffness`: N/rad at no slip; `friction`: where grip is 1; `load`: N on the axle.
  Tyre(double stiffness, double friction, double load) noexcept;

  // N. Never beyond friction x grip x load.
  double force(double slip, double grip) const noexcept;
  // N a unit of slip: the derivative of the force, never below zero.
  double slope(double slip, double grip) const noexcept;
  // What is left of the pneumatic trail: 1 at no slip, 0 where the whole contact slides. The force's moment is greatest
  // at a quarter of that slip already, with 58 % of the greatest force: the hand feels the limit before it is there.
  double trail_share(double slip, double grip) const noexcept;
  // The slip from which the whole contact slides.
  double sliding_slip(double grip) const noexcept { return 3.0 * friction_ * grip * load_ / stiffness_; }

 private:
  // 0 to 1: share of the contact that slides.
  double sliding_share(double slip, double grip) const noexcept;

  double stiffness_, friction_, load_;
};

}  // namespace trackrod
