// The stimulus `chirp` against SciPy's chirp (scipy.signal.chirp) at the same instants.

#include <cmath>
#include <cstdio>
#include <sstream>

#include "tests/catch.hpp"
#include "tests/plan/small_bench.hpp"

using namespace trackrod;
using namespace trackrod::test;

namespace {

std::vector<double> by_scipy(double from, double to, double length, const std::string& law,
                             const std::vector<double>& times) {
  std::ostringstream command;
  command.precision(17);
  command << "/usr/bin/python3 " << TRACKROD_SOURCE_DIR << "/tests/plan/chirp.py " << from << " " << to << " " << length
          << " " << law;
  for (const double t : times) command << " " << t;
  std::FILE* pipe = popen(command.str().c_str(), "r");
  REQUIRE(pipe);
  std::vector<double> values;
  for (double v = 0; std::fscanf(pipe, "%lf", &v) == 1;) values.push_back(v);
  REQUIRE(pclose(pipe) == 0);
  REQUIRE(values.size() == times.size());
  return values;
}

}  // namespace

TEST_CASE("a chirp is SciPy's between its fades, up and down, and starts and ends at rest") {
  struct Case {
    double from, to;
    const char* law;
  };
  const auto c =
      GENERATE(Case{0.5, 8, "logarithmic"}, Case{8, 0.5, "logarithmic"}, Case{1, 4, "linear"}, Case{4, 1, "linear"});
  CAPTURE(c.from, c.to, c.law);
  std::ostringstream step;
  step << R"({"do": "chirp", "signal": "axis.angle_cmd", "amplitude": "5 deg", "for": "20 s", "from": ")" << c.from
       << R"( Hz", "to": ")" << c.to << R"( Hz", "law": ")" << c.law << R"("})";
  const auto w = work_out(plan_of(step.str()));
  INFO(w.sentences());
  REQUIRE(w.timeline);
  const auto& motion = w.timeline->steps()[0].channels[0].motion;
  CHECK(w.timeline->steps()[0].length == std::chrono::seconds{20});

  std::vector<double> times;
  for (double t = 1.0 / c.from; t <= 20.0 - 1.0 / c.to; t += 0.317) times.push_back(t);
  const auto expected = by_scipy(c.from, c.to, 20.0, c.law, times);
  for (std::size_t i = 0; i < times.size(); ++i) {
    CAPTURE(times[i]);
    CHECK(motion.at(from_seconds(times[i])) == Approx(5.0 * expected[i]).margin(1e-6));
  }
  const auto e = extent(motion);
  CHECK(std::isfinite(e.jerk));  // no jump anywhere
  CHECK(e.high <= 5.0 + 1e-9);
  // Where it is fast and does not fade, a chirp's rate is nearly that of a sine: amplitude * 2 pi f.
  CHECK(e.rate == Approx(5.0 * 6.283185307179586 * std::max(c.from, c.to)).epsilon(0.15));
  CHECK(motion.at(std::chrono::seconds{20}) == 0.0);
}
