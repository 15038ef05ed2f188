// The clock of a device that stamps its own samples, as a look at the bench finds it, against the truth of the
// simulated bench. In virtual time.

#include <cmath>

#include "drivers/device/device_set.hpp"
#include "drivers/device/live_look.hpp"
#include "fixtures/simulator/simulated_bench.hpp"
#include "tests/bench/demo.hpp"
#include "tests/catch.hpp"

using namespace trackrod;
using namespace std::chrono_literals;

namespace {

constexpr BenchTime start{1000s};
// What the encoder's 12 bytes take at least on the modelled wire of UDP: 50 us, and 80 ns a byte.
constexpr double least_path = 51e-6;

// The clock of the device 'encoder' of the demo bench on UDP after `how_long`.
ClockModel clock_seen(const Truth& truth, Duration how_long) {
  const auto sources = load_bench_sources(TRACKROD_SOURCE_DIR "/fixtures/demo_bench/bench-udp.json");
  REQUIRE(sources);
  Problems problems;
  const auto bench = parse_bench(*sources, test::catalogue(), problems);
  REQUIRE(bench);
  std::vector<std::unique_ptr<Link>> near, far;
  for (const auto& wire : make_wires(*bench, 3)) {
    near.push_back(wire.bench_end());
    far.push_back(wire.far_end());
  }
  auto simulated = SimulatedBench::make(*bench, truth, 3, std::move(far), start);
  REQUIRE(simulated);
  VirtualTime time{start};
  const auto look = look_at(*bench, std::move(near), how_long, time, [&](BenchTime now) { (*simulated)->step(now); });
  for (std::size_t i = 0; i < bench->devices.size(); ++i) {
    CAPTURE(bench->devices[i].name);
    CHECK(look.devices[i].clocks.size() == (bench->devices[i].name == "encoder" ? 1 : 0));
  }
  for (std::size_t i = 0; i < bench->devices.size(); ++i)
    if (bench->devices[i].name == "encoder") return look.devices[i].clocks.at(0).model;
  FAIL("no encoder");
  return {32, 1e-6};
}

}  // namespace

TEST_CASE("a look finds offset and drift of a device's own clock as they are") {
  // Clocks that run fast, slow, and behind the bench's.
  for (const auto& [offset, drift] : {std::pair{12.5, 35.0}, std::pair{-400.0, -80.0}, std::pair{0.0, 0.0}}) {
    Truth truth;
    truth.encoder.clock_offset = offset;
    truth.encoder.clock_drift = drift;
    const auto clock = clock_seen(truth, 12s);
    CAPTURE(offset, drift, clock.ahead(), clock.drift(), clock.residual().count());
    REQUIRE(clock.settled());
    // The receipt lags the stamp by the path; the rest is what the model claims, and a tick.
    const double truly_ahead = offset + 1e-6 * drift * 12.0 - least_path;
    CHECK(std::abs(clock.ahead() - truly_ahead) < seconds(clock.residual()) + 3e-6);
    CHECK(seconds(clock.residual()) < 30e-6);
    CHECK(-1e6 * clock.drift() == Approx(drift).margin(3.0));
    CHECK(clock.steps() == 0);
    CHECK(clock.outliers() == 0);
  }
}

TEST_CASE("a look that is too short says nothing of a device's own clock") {
  const auto clock = clock_seen(Truth{}, 1500ms);
  CHECK_FALSE(clock.settled());
  CHECK(clock.ahead() == 0.0);
}
