// The stimulus `noise` against what SciPy finds in it.

#include <unistd.h>

#include <cmath>
#include <cstdio>
#include <filesystem>
#include <fstream>

#include "tests/catch.hpp"
#include "tests/plan/small_bench.hpp"

using namespace trackrod;
using namespace trackrod::test;

namespace {

Motion noise(const std::string& more) {
  const auto w = work_out(plan_of(
      R"({"do": "noise", "signal": "volts", "deviation": "1 V", "centre": "8 V", "bandwidth": "5 Hz", )" + more + "}"));
  INFO(w.sentences());
  REQUIRE(w.timeline);
  return w.timeline->steps()[0].channels[0].motion;
}

}  // namespace

TEST_CASE("noise has the deviation and the bandwidth that it states") {
  constexpr double rate = 100.0, length = 2000.0;
  const auto motion = noise(R"("for": "2000 s")");
  const auto file = (std::filesystem::temp_directory_path() / ("noise-" + std::to_string(getpid()))).string();
  {
    std::ofstream samples{file};
    for (double t = 0; t < length; t += 1.0 / rate) samples << motion.at(from_seconds(t)) << "\n";
  }
  const std::string command =
      std::string{"/usr/bin/python3 "} + TRACKROD_SOURCE_DIR + "/tests/plan/noise.py 100 5 < " + file;
  std::FILE* pipe = popen(command.c_str(), "r");
  REQUIRE(pipe);
  double deviation = 0, power = 0;
  const int read = std::fscanf(pipe, "%lf %lf", &deviation, &power);
  CHECK(pclose(pipe) == 0);
  std::filesystem::remove(file);
  REQUIRE(read == 2);
  // 28000 values: the deviation is known to 0.5 %, the ratio of powers, of 50 stretches and some lines each, to 5 %.
  CHECK(deviation == Approx(1.0).epsilon(0.02));
  CHECK(power == Approx(0.5).epsilon(0.2));
}

TEST_CASE("noise starts and ends at rest, is the same whenever its seed is, and another one otherwise") {
  const auto one = noise(R"("for": "10 s", "seed": 3)"), again = noise(R"("for": "10 s", "seed": 3)");
  const auto other = noise(R"("for": "10 s", "seed": 4)");
  CHECK(one.at(std::chrono::microseconds{1}) == Approx(8.0).margin(1e-6));
  CHECK(one.at(std::chrono::seconds{10}) == 8.0);
  const auto late = std::chrono::milliseconds{5300};
  CHECK(one.at(late) == again.at(late));
  CHECK(one.at(late) != other.at(late));
}
