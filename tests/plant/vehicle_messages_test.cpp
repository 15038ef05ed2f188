// What the simulated unit takes for the vehicle's speed on its bus, and what it does not.

#include "drivers/device/device_set.hpp"
#include "fixtures/simulator/peer_table.hpp"
#include "tests/bench/demo.hpp"
#include "tests/catch.hpp"

using namespace trackrod;
using namespace std::chrono_literals;

namespace {

class Heard : public CommandSink {
 public:
  int speeds{0}, ignitions{0};

 private:
  void command(PlantInput input, double) override {
    speeds += input == PlantInput::vehicle_speed ? 1 : 0;
    ignitions += input == PlantInput::unit_ignition ? 1 : 0;
  }
};

using Bytes = std::vector<std::byte>;

// The bench's end of the unit's bus, and the unit's.
class Bus {
 public:
  Bus() {
    const auto sources = load_bench_sources(TRACKROD_SOURCE_DIR "/fixtures/demo_bench/bench-faults.json");
    REQUIRE(sources);
    auto parsed = test::parse(*sources);
    INFO(parsed.sentences());
    REQUIRE(parsed.bench);
    const auto& devices = parsed.bench->devices;
    const auto unit = static_cast<std::size_t>(
        std::ranges::find(devices, std::string{"unit"}, [](const auto& d) { return std::string{d.name}; }) -
        devices.begin());
    bench_end_ = make_protocol(devices.at(unit), Side::bench);
    auto peer = make_peer(*parsed.bench, unit, Truth{});
    REQUIRE(peer);
    unit_end_ = std::move(*peer);
    for (FieldIndex i = 0; i < bench_end_->fields().size(); ++i)
      if (bench_end_->fields()[i].drivable && bench_end_->fields()[i].name != "vehicle_speed_b")
        bench_end_->set(i, 1.0);
  }
  // The bench's next message with the speed.
  Bytes next() {
    now_ += 10ms;
    const auto bytes = bench_end_->due(now_);
    return {bytes.begin(), bytes.end()};
  }
  // What the unit takes of it.
  Heard take(const Bytes& bytes) {
    Heard heard;
    unit_end_->on_bytes(bytes, Stamp{now_}, heard);
    return heard;
  }

 private:
  std::unique_ptr<Protocol> bench_end_;
  std::unique_ptr<Peer> unit_end_;
  BenchTime now_{1s};
};

}  // namespace

TEST_CASE("a message with wrong checksum, counter or length does not refresh the speed; the next good one does") {
  Bus bus;
  CHECK(bus.take(bus.next()).speeds == 1);
  const auto good = bus.next();
  CHECK(bus.take(good).speeds == 1);
  CHECK(bus.take(good).speeds == 0);  // the counter stands still

  auto wrong = bus.next();
  wrong[3] ^= std::byte{1};  // the checksum no longer fits
  CHECK(bus.take(wrong).speeds == 0);
  CHECK(bus.take(bus.next()).speeds == 1);

  auto longer = bus.next();
  longer.push_back(std::byte{0});
  CHECK(bus.take(longer).speeds == 0);
  CHECK(bus.take(bus.next()).speeds == 1);
  auto shorter = bus.next();
  shorter.pop_back();
  CHECK(bus.take(shorter).speeds == 0);
  CHECK(bus.take(bus.next()).speeds == 1);

  for (int i = 0; i < 3; ++i) bus.next();
  const auto jumped = bus.take(bus.next());
  CHECK(jumped.speeds == 0);
  CHECK(jumped.ignitions == 1);
  CHECK(bus.take(bus.next()).speeds == 1);
  bus.next();
  CHECK(bus.take(bus.next()).speeds == 1);  // one may be lost
}
