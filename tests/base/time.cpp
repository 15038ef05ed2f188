#include "harness/base/time.hpp"

#include "tests/catch.hpp"

using namespace trackrod;
using namespace std::chrono_literals;

TEST_CASE("virtual time moves only when told to") {
  VirtualTime time{BenchTime{5s}};
  CHECK(time.now() == BenchTime{5s});
  time.sleep_until(BenchTime{7s});
  CHECK(time.now() == BenchTime{7s});
  time.sleep_until(BenchTime{6s});
  CHECK(time.now() == BenchTime{7s});
}

TEST_CASE("the steady clock does not return early and does not run backwards") {
  SteadyTime time;
  const auto due = time.now() + 2ms;
  time.sleep_until(due);
  const auto after = time.now();
  CHECK(after >= due);
  time.sleep_until(due);
  CHECK(time.now() >= after);
}

TEST_CASE("seconds are rounded to the nearest nanosecond, on both sides of zero") {
  CHECK(from_seconds(0.001) == 1ms);
  CHECK(from_seconds(-0.0000000014) == -1ns);
  CHECK(from_seconds(0.0000000016) == 2ns);
  CHECK(seconds(1500us) == Approx(0.0015));
  for (const auto d : {1ns, 333us + 333ns, 28800s + 1ns}) CHECK(from_seconds(seconds(d)) == d);
}
