// The whole model, as the bench would feel it.

#include "harness/load/load_model.hpp"

#include <cmath>
#include <limits>
#include <random>
#include <type_traits>

#include "tests/catch.hpp"
#include "tests/load/van.hpp"

namespace trackrod::test {
namespace {

constexpr double tick = 1e-3;

// What holds no memory of its own can be copied byte by byte: nothing in a step can allocate.
static_assert(std::is_trivially_copyable_v<LoadModel>);
static_assert(noexcept(std::declval<LoadModel&>().advance({})));

LoadModel::Output driven(LoadModel& model, const LoadModel::Input& input, double time) {
  LoadModel::Output out;
  for (double t = 0.0; t < time; t += tick) out = model.advance(input);
  return out;
}

VehicleParameters tyres_alone() {
  auto v = van();
  v.scrub_torque = v.jacking_stiffness = v.rack_friction = 0.0;
  return v;
}

TEST_CASE("in a steady left turn all is to the left but the force at the rack, which turns the wheels back") {
  LoadModel model{van(), tick};
  const auto out = driven(model, {0.03, 15.0, 1.0}, 10.0);
  CHECK(out.yaw_rate > 0.0);
  CHECK(out.lateral_acceleration > 0.0);
  CHECK(out.front_slip > 0.0);
  CHECK(out.rear_slip > 0.0);
  CHECK(out.force < 0.0);
  CHECK(out.parts.aligning < 0.0);
  CHECK(out.parts.jacking < 0.0);
  CHECK(out.force == Approx(out.parts.total()));
}

TEST_CASE("left and right are alike") {
  const std::uint64_t seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937_64 random{seed};
  std::normal_distribution<double> step{0.0, 0.004};
  std::uniform_real_distribution<double> speed{0.0, 20.0};
  LoadModel left{van(), tick}, right{van(), tick};
  double angle = 0.0, u = 10.0;
  for (int i = 0; i < 20000; ++i) {
    if (i % 500 == 0) u = speed(random);
    angle += step(random) - 0.01 * angle;
    const auto& a = left.advance({angle, u, 1.0});
    const auto& b = right.advance({-angle, u, 1.0});
    REQUIRE(a.force == -b.force);
    REQUIRE(a.yaw_rate == -b.yaw_rate);
  }
}

// At small slip the moment is force x both trails; the front axle carries b/L of m a_y.
TEST_CASE("the steady force at the rack is the front's share of the lateral force, by both trails over the arm") {
  const auto v = tyres_alone();
  LoadModel model{v, tick};
  const double speed = 20.0;
  const auto out = driven(model, {1e-5, speed, 1.0}, 20.0);
  const double front = v.mass * out.lateral_acceleration * v.rear_axle / v.wheelbase();
  CHECK(out.force == Approx(-front * (v.pneumatic_trail + v.mechanical_trail) / v.steering_arm).epsilon(2e-4));
}

TEST_CASE("a loss of grip in a bend makes the rack light") {
  LoadModel model{van(), tick};
  const auto dry = driven(model, {0.05, 16.0, 1.0}, 5.0);
  const auto ice = driven(model, {0.05, 16.0, 0.25}, 0.3);
  CHECK(ice.force / dry.force > 0.0);
  CHECK(ice.force / dry.force < 0.6);
  CHECK(ice.lateral_acceleration == Approx(0.25 * van().friction * 9.80665).epsilon(0.02));
}

TEST_CASE("turned further and further in, the rack is heaviest before the vehicle turns hardest") {
  LoadModel model{tyres_alone(), tick};
  double heaviest = 0.0, hardest = 0.0, at_heaviest = 0.0, at_hardest = 0.0;
  for (double angle = 0.0; angle < 0.3; angle += 5e-6) {
    const auto& out = model.advance({angle, 16.0, 0.8});
    if (-out.force > heaviest) heaviest = -out.force, at_heaviest = angle;
    if (out.lateral_acceleration > hardest) hardest = out.lateral_acceleration, at_hardest = angle;
  }
  CHECK(at_heaviest < 0.7 * at_hardest);
  // Where all of the contact slides the mechanical trail alone is left: mu g F_z t_m / r.
  const double load = van().mass * 9.80665 * van().rear_axle / van().wheelbase();
  const double at_the_limit = 0.8 * van().friction * load * van().mechanical_trail / van().steering_arm;
  CHECK(-model.advance({0.3, 16.0, 0.8}).force == Approx(at_the_limit));
  CHECK(at_the_limit < 0.85 * heaviest);
}

TEST_CASE(
    "the first bit of turning on the spot meets springs: of the tyres and the weight over the arm, and of the rack") {
  const auto v = van();
  LoadModel model{v, tick};
  CHECK(model.advance({0.0, 0.0, 1.0}).force == 0.0);
  const double turned = 1e-4;
  const auto parts = model.advance({turned, 0.0, 1.0}).parts;
  CHECK(parts.scrub == Approx(-v.scrub_stiffness * turned / v.steering_arm));
  CHECK(parts.jacking == Approx(-v.jacking_stiffness * turned / v.steering_arm));
  CHECK(parts.friction == Approx(-v.rack_friction_stiffness * turned * v.steering_arm));
}

TEST_CASE("a standing vehicle is hardest to steer") {
  const auto at = [](double speed) {
    LoadModel model{van(), tick};
    LoadModel::Output out;
    for (int i = 0; i < 2000; ++i) out = model.advance({1e-4 * i, speed, 1.0});
    return out;
  };
  const auto v = van();
  const auto standing = at(0.0);
  CHECK(standing.parts.scrub == Approx(-v.scrub_torque / v.steering_arm));
  CHECK(standing.parts.friction == Approx(-v.rack_friction));
  CHECK(standing.parts.aligning == 0.0);
  CHECK(std::abs(at(1.0).parts.scrub) < 0.9 * std::abs(standing.parts.scrub));
  CHECK(std::abs(at(10.0).parts.scrub) < 0.1 * std::abs(standing.parts.scrub));
}

TEST_CASE("backwards the pneumatic trail turns the wheels further, against the mechanical one") {
  const auto v = tyres_alone();
  LoadModel model{v, tick};
  const auto out = driven(model, {1e-4, -4.0, 1.0}, 10.0);
  const double front = v.mass * out.lateral_acceleration * v.rear_axle / v.wheelbase();
  CHECK(out.lateral_acceleration > 0.0);  // it goes round the same centre
  CHECK(out.yaw_rate < 0.0);
  CHECK(out.force == Approx(-front * (v.mechanical_trail - v.pneumatic_trail) / v.steering_arm).epsilon(1e-3));
}

TEST_CASE("a pulse of the road comes on top") {
  LoadModel with{van(), tick}, without{van(), tick};
  driven(with, {0.02, 10.0, 1.0}, 5.0), driven(without, {0.02, 10.0, 1.0}, 5.0);
  REQUIRE(with.add({700.0, 0.0, 0.2}));
  double greatest = 0.0;
  for (int i = 0; i < 40; ++i) {
    const double more = with.advance({0.02, 10.0, 1.0}).force - without.advance({0.02, 10.0, 1.0}).force;
    CHECK(more > -1e-6);
    greatest = std::max(greatest, more);
  }
  CHECK(greatest == Approx(700.0));
}

TEST_CASE("turning the wheels of a standing vehicle there and back takes work, whatever the way") {
  const std::uint64_t seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937_64 random{seed};
  std::normal_distribution<double> step{0.0, 0.005};
  const auto v = van();
  LoadModel model{v, tick};
  double angle = 0.0, taken = 0.0;
  model.advance({0.0, 0.0, 1.0});
  for (int i = 0; i < 100000; ++i) {
    const double next = std::clamp(angle + step(random), -0.6, 0.6);
    taken -= model.advance({next, 0.0, 1.0}).force * (next - angle) * v.steering_arm;
    angle = next;
    REQUIRE(taken > -1e-9);
  }
  CHECK(taken > 0.0);
}

TEST_CASE("a scaled bench feels the scaled force of the scaled angle") {
  auto v = van();
  LoadModel whole{v, tick};
  v.angle_scale = 2.0;
  v.force_scale = 0.1;
  LoadModel scaled{v, tick};
  for (int i = 0; i < 3000; ++i) {
    const double angle = 0.04 * std::sin(0.01 * i);
    const auto& a = whole.advance({angle, 12.0, 1.0});
    const auto& b = scaled.advance({0.5 * angle, 12.0, 1.0});
    REQUIRE(b.force == Approx(0.1 * a.force).margin(1e-9));
    REQUIRE(b.yaw_rate == Approx(a.yaw_rate).margin(1e-12));
  }
}

TEST_CASE("any finite input gives a finite output, at any time and tick") {
  const std::uint64_t seed = std::random_device{}();
  const double step = GENERATE(1e-3, 0.25e-3);
  CAPTURE(seed, step);
  std::mt19937_64 random{seed};
  constexpr double most = std::numeric_limits<double>::max(), least = std::numeric_limits<double>::denorm_min();
  const double values[] = {0.0,  -0.0, 1e-300, least, -least, 1e-9,  0.03, -0.07, 0.499,
                           -0.6, 1.0,  -1.2,   20.0,  1e3,    -1e30, most, -most};
  std::uniform_int_distribution<std::size_t> which{0, std::size(values) - 1};
  LoadModel model{van(), step};
  LoadModel::Input input;
  for (int i = 0; i < 200000; ++i) {
    if (i % 7 == 0) input = {values[which(random)], values[which(random)], values[which(random)]};
    const auto& out = model.advance(input);
    REQUIRE(model.sound());
    REQUIRE(std::isfinite(out.force));
    REQUIRE(std::isfinite(out.yaw_rate));
    REQUIRE(std::isfinite(out.lateral_acceleration));
    REQUIRE(std::abs(out.front_slip) <= 1.571);
    REQUIRE(std::abs(out.rear_slip) <= 1.571);
  }
}

TEST_CASE("any vehicle that the table lets pass stays finite and within its grip, driven anyhow") {
  const std::uint64_t seed = std::random_device{}();
  const double step = GENERATE(1e-3, 0.25e-3);
  CAPTURE(seed, step);
  std::mt19937_64 random{seed};
  const auto within = [&](double low, double high) {
    return std::exp(std::uniform_real_distribution<double>{std::log(low), std::log(high)}(random));
  };
  std::uniform_real_distribution<double> angle{-1.2, 1.2}, speed{-100.0, 100.0}, grip{0.0, 1.2};
  for (int vehicle = 0; vehicle < 300; ++vehicle) {
    auto v = van();
    v.mass = within(1.0, 1e5);
    v.front_axle = within(0.1, 20.0), v.rear_axle = within(0.1, 20.0);
    v.yaw_inertia = v.mass * v.front_axle * v.rear_axle * within(0.1, 10.0);
    v.front_stiffness = within(1.0, 1e7), v.rear_stiffness = within(1.0, 1e7);
    v.friction = within(0.05, 3.0);
    v.relaxation_length = within(0.02, 5.0);
    v.scrub_stiffness = within(1.0, 1e7), v.rack_friction_stiffness = within(1.0, 1e9);
    CAPTURE(v.mass, v.front_axle, v.rear_axle, v.yaw_inertia, v.front_stiffness, v.rear_stiffness, v.friction);
    LoadModel model{v, step};
    for (int turn = 0; turn < 20; ++turn) {
      const LoadModel::Input input{angle(random), speed(random) * (turn % 2 == 0 ? 1.0 : 1e-3), grip(random)};
      double greatest = 0.0;
      for (int i = 0; i < 100; ++i) greatest = std::max(greatest, std::abs(model.advance(input).lateral_acceleration));
      REQUIRE(model.sound());
      REQUIRE(greatest <= input.grip * v.friction * 9.80665 * 1.0001);
    }
  }
}

TEST_CASE("an input that is not finite ends it: the output is zero and stays so") {
  const double bad = GENERATE(std::numeric_limits<double>::quiet_NaN(), std::numeric_limits<double>::infinity(),
                              -std::numeric_limits<double>::infinity());
  const int which = GENERATE(0, 1, 2);
  LoadModel model{van(), tick};
  REQUIRE(driven(model, {0.05, 15.0, 1.0}, 1.0).force != 0.0);
  CHECK(model.sound());
  LoadModel::Input input{0.05, 15.0, 1.0};
  (which == 0 ? input.angle : which == 1 ? input.speed : input.grip) = bad;
  for (const auto& next : {input, LoadModel::Input{0.05, 15.0, 1.0}}) {
    const auto& out = model.advance(next);
    CHECK_FALSE(model.sound());
    CHECK(out.force == 0.0);
    CHECK(out.yaw_rate == 0.0);
    CHECK(out.parts.total() == 0.0);
  }
}

TEST_CASE("a vehicle that no table has checked ends it too") {
  LoadModel model{VehicleParameters{}, tick};
  CHECK(model.advance({0.05, 15.0, 1.0}).force == 0.0);
  CHECK_FALSE(model.sound());
}

}  // namespace
}  // namespace trackrod::test
