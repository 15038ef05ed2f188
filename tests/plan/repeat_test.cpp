#include <cmath>
#include <random>

#include "tests/catch.hpp"
#include "tests/plan/allocations.hpp"
#include "tests/plan/small_bench.hpp"

using namespace trackrod;
using namespace trackrod::test;

namespace {

// A random plan, and the same with every repeat written out.
class RandomPlan {
 public:
  explicit RandomPlan(unsigned seed) : random_{seed} { list(0, 0, folded, unrolled); }
  std::string folded, unrolled;

 private:
  int pick(int low, int high) { return std::uniform_int_distribution{low, high}(random_); }

  void list(int depth, int, std::string& folded_out, std::string& unrolled_out) {
    const int n = pick(1, 4);
    for (int i = 0; i < n; ++i) {
      const std::string comma = i > 0 ? ", " : "";
      folded_out += comma;
      unrolled_out += comma;
      if (depth < 3 && pick(0, 2) == 0) {
        const int times = pick(1, 4);
        std::string body, written;
        list(depth + 1, 0, body, written);
        folded_out += R"({"do": "repeat", "times": )" + std::to_string(times) + R"(, "steps": [)" + body + "]}";
        for (int k = 0; k < times; ++k) unrolled_out += (k > 0 ? ", " : "") + written;
      } else {
        const auto text = stimulus();
        folded_out += text;
        unrolled_out += text;
      }
    }
  }

  std::string limits() {
    std::string text;
    if (pick(0, 1)) text += R"(, "acceleration": ")" + std::to_string(pick(2000, 50000)) + R"( deg/s^2")";
    if (pick(0, 1)) text += R"(, "jerk": ")" + std::to_string(pick(200, 5000)) + R"(e3 deg/s^3")";
    return text;
  }

  std::string stimulus() {
    const std::string signal = R"("signal": "axis.angle_cmd", )",
                      to = R"("to": ")" + std::to_string(pick(-60, 60)) + R"( deg")";
    switch (pick(0, 6)) {
      case 0:
        return R"({"do": "hold", "for": ")" + std::to_string(pick(1, 300)) + R"( ms"})";
      case 1:
        return R"({"do": "step", )" + signal + to + R"(, "slew": ")" + std::to_string(pick(100, 500)) +
               R"( deg/s", "for": "50 ms")" + limits() + "}";
      case 2:
        return R"({"do": "ramp", )" + signal + to + R"(, "rate": ")" + std::to_string(pick(50, 400)) + R"( deg/s")" +
               limits() + "}";
      case 3:
        return R"({"do": "staircase", )" + signal + to + R"(, "treads": 3, "tread_time": "33 ms")" + limits() + "}";
      case 4:
        return R"({"do": "triangle", )" + signal + R"("amplitude": "15 deg", "rate": "40 deg/s", "cycles": 1)" +
               limits() + "}";
      case 5:
        return R"({"do": "sine", )" + signal +
               R"("amplitude": "3 deg", "frequency": "3 Hz", "cycles": 3, "fade_cycles": 1})";
      default:
        return R"({"do": "parallel", "tracks": [[{"do": "ramp", )" + signal + to +
               R"(, "rate": "300 deg/s"}], [{"do": "ramp", "signal": "load", "to": ")" +
               std::to_string(pick(-500, 500)) + R"( N", "rate": "9 kN/s"}]]})";
    }
  }
  std::mt19937 random_;
};

}  // namespace

TEST_CASE("a plan with repeats does what the plan written out does, within the limits of the bench") {
  const auto first_seed = std::random_device{}();
  for (unsigned i = 0; i < 150; ++i) {
    const RandomPlan random{first_seed + i};
    CAPTURE(first_seed, i, random.folded);
    const auto folded = work_out(plan_of(random.folded)), unrolled = work_out(plan_of(random.unrolled));
    INFO(folded.sentences());
    REQUIRE(folded.timeline);
    REQUIRE(unrolled.timeline);
    CHECK(folded.timeline->length() == unrolled.timeline->length());
    CHECK(folded.timeline->step_count() == unrolled.timeline->step_count());
    for (const auto signal : {angle_cmd, load}) {
      const auto a = sampled(*folded.timeline, signal), b = sampled(*unrolled.timeline, signal);
      REQUIRE(a == b);
      // What the loop would send, tick by tick: no jump, no value and no rate beyond the bench's limits.
      const auto info = small_bench().signals[signal].info;
      for (std::size_t k = 1; k < a.size(); ++k) {
        REQUIRE(std::abs(a[k] - a[k - 1]) <= info.max_slew * 1e-3 * (1 + 1e-6));
        REQUIRE((a[k] >= info.range_low && a[k] <= info.range_high));
      }
    }
    // Steps join exactly.
    double now = 0;
    for (Timeline::Cursor c{*folded.timeline}; c.current() != nullptr; c.next())
      for (const auto& channel : c.current()->channels)
        if (channel.signal == angle_cmd) {
          REQUIRE(channel.motion.start == now);
          now = channel.motion.end;
        }
  }
}

TEST_CASE("the later passes of a repeat start from its own end") {
  const auto w = work_out(plan_of(
      R"({"do": "repeat", "times": 3, "steps": [{"do": "ramp", "name": "up", "signal": "axis.angle_cmd", "to": "30 deg", "rate": "100 deg/s"},
      {"do": "ramp", "name": "down", "signal": "axis.angle_cmd", "to": "10 deg", "rate": "100 deg/s"}]})"));
  REQUIRE(w.timeline);
  std::vector<double> starts;
  std::vector<std::uint32_t> ids, cycles;
  for (Timeline::Cursor c{*w.timeline}; c.current() != nullptr; c.next()) {
    starts.push_back(c.current()->channels[0].motion.start);
    ids.push_back(c.current()->id);
    cycles.push_back(c.cycle());
  }
  CHECK(starts == std::vector<double>{0, 30, 10, 30, 10, 30});
  CHECK(ids == std::vector<std::uint32_t>{0, 1, 0, 1, 0, 1});
  CHECK(cycles == std::vector<std::uint32_t>{0, 0, 1, 1, 2, 2});
  CHECK(w.timeline->length() == std::chrono::milliseconds{300 + 5 * 200});
}

TEST_CASE(
    "the size of a timeline does not grow with how often a repeat repeats, and eight hours walk without allocating") {
  const auto make = [](const std::string& times) {
    auto w = work_out(plan_of(R"({"do": "repeat", "times": )" + times +
                              R"(, "steps": [{"do": "hold", "for": "10 ms"}, {"do": "repeat", "times": 3, "steps": [
        {"do": "step", "signal": "axis.angle_cmd", "to": "30 deg", "for": "100 ms"}, {"do": "step", "signal": "axis.angle_cmd", "to": "0 deg", "for": "100 ms"}]}]})"));
    INFO(w.sentences());
    REQUIRE(w.timeline);
    return std::move(w.timeline);
  };
  const auto few = make("2"), many = make("36463");  // 28800 s / (10 ms + 3 * 2 * 130 ms)
  CHECK(few->steps().size() == many->steps().size());
  CHECK(seconds(many->length()) == Approx(8 * 3600).epsilon(1e-3));
  Timeline::Cursor cursor{*many};
  const auto before = allocations();
  std::uint64_t steps = 0;
  Duration length{};
  double last = 0;
  for (; cursor.current() != nullptr; cursor.next()) {
    ++steps;
    length += cursor.current()->length;
    for (const auto& c : cursor.current()->channels) last = c.motion.at(std::chrono::milliseconds{20});
  }
  CHECK(allocations() == before);
  CHECK(steps == many->step_count());
  CHECK(steps == 36463U * 7);
  CHECK(length == many->length());
  CHECK(last == Approx(10));
}

TEST_CASE("a repeat that would take years is refused") {
  const auto w = work_out(plan_of(
      R"({"do": "repeat", "times": 1000000000, "steps": [{"do": "repeat", "times": 1000000000, "steps": [{"do": "hold", "for": "1 s"}]}]})"));
  CHECK_FALSE(w.plan);
  CHECK(w.sentences().find("days") != std::string::npos);
}
