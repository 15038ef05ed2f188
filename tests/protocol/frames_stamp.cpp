// Frames that carry the device's own stamp of their values.

#include <algorithm>
#include <chrono>
#include <cmath>
#include <random>

#include "tests/protocol/allocations.hpp"
#include "tests/protocol/wire.hpp"

using namespace trackrod;
using namespace trackrod::testing;
using namespace std::chrono_literals;

namespace {

const std::string settings = R"({"kind": "frames", "receive": {"status": {"length": 12, "cycle": "1 ms",
  "match": {"start": 0, "bits": 8, "value": 17}, "counter": {"start": 8, "bits": 8},
  "stamp": {"start": 16, "bits": 24, "tick": "1 us"},
  "checksum": {"kind": "CRC-16/IBM-3740", "at": 10},
  "fields": {"angle": {"start": 40, "bits": 24, "signed": true, "scale": 0.001}}}}})";

}  // namespace

TEST_CASE("samples of a frame with a stamp stand at the device's time, late messages or not") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937_64 random{seed};
  const auto bench = make(settings), device = make(settings, Side::peer);
  KeptFields sink;
  Duration arrived{};
  double worst_receipt = 0.0, worst = 0.0;
  for (int i = 0; i < 10000; ++i) {
    const auto taken = 5s + 1ms * i;
    device->set(0, 0.001 * i);
    const auto frame = copy(device->due(at(taken)));
    REQUIRE(frame.size() == 12);
    const auto delay = 200us + Duration{static_cast<std::int64_t>(random() % (random() % 20 == 0 ? 3000000 : 50000))};
    arrived = std::max(arrived, taken + delay);
    sink.all.clear();
    REQUIRE(bench->on_bytes(frame, {at(arrived), StampedBy::kernel, 10us}, sink));
    REQUIRE(sink.all.size() == 1);
    const auto& sample = sink.all[0];
    CHECK(sample.value == Approx(0.001 * i));
    if (i < 3000) continue;
    CHECK(sample.stamp.by == StampedBy::device);
    const auto error = std::abs(seconds(sample.stamp.when - at(taken + 200us)));
    CHECK(error <= seconds(sample.stamp.uncertainty));
    worst = std::max(worst, error);
    worst_receipt = std::max(worst_receipt, seconds(arrived - taken - 200us));
  }
  CHECK(worst < 10e-6);
  CHECK(worst_receipt > 2e-3);
}

TEST_CASE("a frame with a stamp is made byte for byte") {
  const auto device = make(settings, Side::peer);
  device->set(0, 0.0);
  const auto frame = copy(device->due(BenchTime{1s + 234us + 900ns}));  // 1000234 = 0F432A us
  CHECK(std::vector(frame.begin(), frame.begin() + 5) == bytes({17, 0, 0x2A, 0x43, 0x0F}));
  const auto later = copy(device->due(BenchTime{16777216us + 5us}));  // 2^24 us and 5: begins anew
  CHECK(std::vector(later.begin(), later.begin() + 5) == bytes({17, 1, 5, 0, 0}));
}

TEST_CASE("stamps allocate nothing after construction") {
  const auto bench = make(settings), device = make(settings, Side::peer);
  LastField sink;
  const auto before = allocations();
  for (int i = 0; i < 20000; ++i) {
    device->set(0, 0.001 * i);
    const auto taken = 1s + 1ms * i + (i > 10000 ? 1s : 0s);
    bench->on_bytes(device->due(at(taken)), stamp(1s + 1ms * i + 300us), sink);
  }
  const auto after = allocations();
  CHECK(after == before);
  CHECK(sink.count == 20000);
}

TEST_CASE("wrong stamps are told with their places") {
  const auto problems_of = [](const std::string& stamp, const std::string& direction = "receive") {
    Chosen chosen;
    Problems problems;
    read_settings(R"({"kind": "frames", ")" + direction + R"(": {"f": {"length": 8, "cycle": "1 ms", "stamp": {)" +
                      stamp + R"(}, "fields": {"a": {"start": 0, "bits": 8}}}}})",
                  chosen, problems);
    return problems.sorted().size();
  };
  CHECK(problems_of(R"("start": 8, "bits": 32, "tick": "1 us")") == 0);
  CHECK(problems_of(R"("start": 8, "bits": 16, "tick": "1 us")") == 0);
  CHECK(problems_of(R"("start": 8, "bits": 16, "tick": "10 ns")") == 1);  // 0.7 ms a turn
  CHECK(problems_of(R"("start": 0, "bits": 32, "tick": "1 us")") == 1);   // the field's bits
  CHECK(problems_of(R"("start": 48, "bits": 32, "tick": "1 us")") == 1);  // beyond the frame
  CHECK(problems_of(R"("start": 8, "bits": 32)") == 1);
  CHECK(problems_of(R"("start": 8, "bits": 32, "tick": "1 us")", "send") == 1);
}
