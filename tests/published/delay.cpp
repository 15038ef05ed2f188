// Lags against closed forms, and the cross-correlation against SciPy on the same arrays.

#include <unistd.h>

#include <cstdio>
#include <filesystem>
#include <fstream>
#include <random>

#include "harness/score/correlate.hpp"
#include "harness/score/lag_model.hpp"
#include "tests/score/rig.hpp"

namespace trackrod::test {
namespace {

// Runs the script on the arrays; what it prints.
double by_scipy(const std::vector<double>& x, const std::vector<double>& y, int lead, int least, int most,
                double flank) {
  const auto path =
      std::filesystem::temp_directory_path() / ("trackrod-correlate-" + std::to_string(getpid()) + ".txt");
  {
    std::ofstream file{path};
    file.precision(17);
    file << lead << " " << least << " " << most << " " << flank << "\n";
    for (const double v : x) file << v << " ";
    file << "\n";
    for (const double v : y) file << v << " ";
    file << "\n";
  }
  const std::string command =
      "/usr/bin/python3 " + std::string{TRACKROD_SOURCE_DIR} + "/tests/published/correlation_lag.py " + path.string();
  std::FILE* pipe = popen(command.c_str(), "r");
  REQUIRE(pipe);
  double lag = std::nan("");
  const int read = std::fscanf(pipe, "%lf", &lag);
  const int status = pclose(pipe);
  std::filesystem::remove(path);
  REQUIRE(read == 1);
  REQUIRE(status == 0);
  return lag;
}

TEST_CASE("the correlation lag agrees with SciPy's correlate and the same curve to a millionth of a sample") {
  const std::uint64_t seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937_64 random{seed};
  std::normal_distribution<double> normal;
  for (int turn = 0; turn < 5; ++turn) {
    const int lead = 120, tail = 10;
    const double lag = std::uniform_real_distribution<double>{3.0, 100.0}(random), sign = turn % 2 ? -0.3 : 1.7;
    const double f1 = std::uniform_real_distribution<double>{0.002, 0.01}(random), f2 = 2.3 * f1;
    const auto wave = [&](double n) {
      return 20.0 * std::sin(6.2832 * f1 * n) + 9.0 * std::sin(6.2832 * f2 * n + 1.0) + 0.002 * n;
    };
    std::vector<double> x, y;
    for (int n = -lead; n < 2000 + tail; ++n) x.push_back(wave(n) + 0.05 * normal(random));
    for (int n = 0; n < 2000; ++n) y.push_back(sign * wave(n - lag) + 4.0 + 0.05 * normal(random));
    for (const double flank : {1.0, 0.95}) {
      CAPTURE(turn, flank);
      const auto curve = correlation_curve(x, y, lead, -tail, lead);
      REQUIRE(curve);
      const auto ours = lag_of(*curve, flank);
      REQUIRE(ours);
      CHECK(ours->samples == Approx(by_scipy(x, y, lead, -tail, lead, flank)).margin(1e-6));
      CHECK(ours->samples == Approx(lag).margin(0.05));
      CHECK((ours->coefficient < 0.0) == (sign < 0.0));
    }
  }
}

TEST_CASE("the parabola through a cosine peak has the bias of its closed form") {
  // 0.5 tan(w f) / tan(w / 2) for N samples a period and a true fraction f; N = 8, f = 0.25: 0.240108.
  const double w = 2.0 * 3.14159265358979323846 / 8.0;
  std::vector<double> x, y;
  for (int n = -16; n < 800 + 16; ++n) x.push_back(std::cos(w * n));
  for (int n = 0; n < 800; ++n) y.push_back(std::cos(w * (n - 2.25)));
  const auto curve = correlation_curve(x, y, 16, 0, 5);
  REQUIRE(curve);
  const auto lag = lag_of(*curve);
  REQUIRE(lag);
  CHECK(lag->samples == Approx(2.240108).margin(1e-5));
}

TEST_CASE("the first-order model lags a ramp by its time constant and passes a step as the closed form does") {
  LagModel model;
  model.order = LagOrder::first;
  model.natural = 1.0 / 0.025;
  model.dead_time = 0.012;
  Stretch s;
  s.dt = 1e-3;
  for (int i = 0; i < 1000; ++i) s.input.push_back(0.4 * i);  // 400 deg/s
  for (int i = 500; i < 900; ++i) s.t.push_back(1e-3 * i), s.output.push_back(0.0);
  s.start_output = 0.0;
  const auto out = model_output(s, model, lag_response(s, model)).value;
  // 400 deg/s x (12 + 25) ms = 14.8 deg behind.
  for (std::size_t i = 0; i < out.size(); i += 50) CHECK(400.0 * s.t[i] - out[i] == Approx(14.8).margin(1e-9));

  // A step between two grid points is a ramp of one cell: its middle counts.
  s.input.assign(1000, 0.0);
  std::fill(s.input.begin() + 101, s.input.end(), 1.0);
  s.t.clear(), s.output.clear();
  for (const double t : {0.1146340, 0.1293287, 0.1695646}) s.t.push_back(t + 0.0005), s.output.push_back(0.0);
  const auto step = model_output(s, model, lag_response(s, model)).value;
  CHECK(step[0] == Approx(0.1).margin(3e-4));
  CHECK(step[1] == Approx(0.5).margin(3e-4));
  CHECK(step[2] == Approx(0.9).margin(3e-4));
}

TEST_CASE("the second-order model overshoots and lags a ramp as the closed form says") {
  LagModel model;
  model.natural = 60.0;
  model.damping = 0.4;
  Stretch s;
  s.dt = 1e-3;
  s.input.assign(1000, 1.0);
  std::fill(s.input.begin(), s.input.begin() + 100, 0.0);
  for (int i = 1; i < 900; ++i) s.t.push_back(1e-3 * i), s.output.push_back(0.0);
  const auto step = model_output(s, model, lag_response(s, model)).value;
  CHECK(*std::max_element(step.begin(), step.end()) ==
        Approx(1.25383).margin(1e-3));  // 100 exp(-pi zeta / sqrt(1 - zeta^2)) %
  for (std::size_t i = 0; i < s.input.size(); ++i) s.input[i] = 0.1 * static_cast<double>(i);
  const auto ramp = model_output(s, model, lag_response(s, model)).value;
  CHECK(100.0 * s.t.back() - ramp.back() == Approx(100.0 * 2.0 * 0.4 / 60.0).margin(1e-9));
}

TEST_CASE("50 % delay, ramp lag and dead time of one first-order unit are three numbers, each right") {
  // L = 12 ms, tau = 25 ms: L + 0.693 tau = 29.33 ms for an ideal step, L + tau = 37 ms on a ramp.
  SteeredUnit unit;
  unit.first_order = true;
  unit.natural = 40.0;
  Sensor sensor;
  sensor.noise = 1e-4;
  auto other = sensor;
  other.phase = 0.0004;
  const auto soft = record(unit, steps(40, 0.02, 1.0), 4.0, sensor, other, 5);
  const auto delay = score("delay", soft, R"({"order": "first"})");
  CHECK(value_of(delay, "dead_time") == Approx(12.0).margin(0.02));
  CHECK(value_of(delay, "ramp_lag") == Approx(37.0).margin(0.02));
  auto sharp = record(unit, steps(40, 0.002, 1.0), 4.0, sensor, other, 5);
  set_cycles(sharp, "step", 4, 1.0);
  CHECK(value_of(score("step", sharp), "delay_50") == Approx(29.3287).margin(0.1));
}

}  // namespace
}  // namespace trackrod::test
