// The skew of two signals against a least-squares fit with SciPy on the same samples.

#include <unistd.h>

#include <cstdio>
#include <filesystem>
#include <fstream>

#include "tests/score/rig.hpp"

namespace trackrod::test {
namespace {

double by_scipy(const KnownCapture& c) {
  const auto path = std::filesystem::temp_directory_path() / ("trackrod-skew-" + std::to_string(getpid()) + ".txt");
  {
    std::ofstream file{path};
    file.precision(17);
    for (const auto& samples : c.samples) {
      for (const auto& p : samples)
        if (p.when >= at(-0.2)) file << seconds(p.when - at(0.0)) << " ";
      file << "\n";
      for (const auto& p : samples)
        if (p.when >= at(-0.2)) file << p.value << " ";
      file << "\n";
    }
  }
  const auto command =
      "/usr/bin/python3 " + std::string{TRACKROD_SOURCE_DIR} + "/tests/published/skew.py " + path.string();
  std::FILE* pipe = popen(command.c_str(), "r");
  REQUIRE(pipe);
  double skew = std::nan("");
  const int read = std::fscanf(pipe, "%lf", &skew);
  const int status = pclose(pipe);
  std::filesystem::remove(path);
  REQUIRE(read == 1);
  REQUIRE(status == 0);
  return skew;
}

TEST_CASE("skew agrees with SciPy's least squares within what noise leaves to both") {
  const std::uint64_t seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937_64 random{seed};
  std::uniform_real_distribution<double> delay{0.0, 0.03}, phase{0.0, 0.001}, gain{0.3, 2.0};
  for (int turn = 0; turn < 6; ++turn) {
    Sensor a, b;
    a.noise = b.noise = 0.002;
    a.delay = delay(random), b.delay = delay(random);
    a.phase = phase(random), b.phase = phase(random);
    if (turn % 2 == 1) b.interval = 0.002;
    const auto motion = turn < 3 ? steps(40, 0.1, 1.0) : sine(40, 1.5);
    const auto c = record_two(motion, gain(random), 4.0, a, b, random());
    const double theirs = 1e3 * by_scipy(c), ours = value_of(score("skew", c), "skew");
    CAPTURE(turn, ours, theirs, 1e3 * (b.delay - a.delay));
    CHECK(ours == Approx(theirs).margin(0.004));
    CHECK(theirs == Approx(1e3 * (b.delay - a.delay)).margin(0.004));  // the check itself is right
  }
}

}  // namespace
}  // namespace trackrod::test
