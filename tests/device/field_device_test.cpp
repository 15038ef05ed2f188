#include "drivers/device/field_device.hpp"

#include <cmath>
#include <limits>

#include "drivers/link/memory_link.hpp"
#include "tests/device/line_protocol.hpp"
#include "tests/link/allocations.hpp"
#include "tests/link/wire_help.hpp"
#include "tests/protocol/wire.hpp"

using namespace trackrod;
using namespace std::chrono_literals;

namespace {

constexpr BenchTime t0{100s};

SignalSpec signal(const std::string& name, std::size_t device, Direction direction, const std::string& field,
                  double gain = 1.0, double offset = 0.0) {
  SignalSpec s;
  s.info.name = name;
  s.info.direction = direction;
  s.device = device;
  s.field = field;
  s.gain = gain;
  s.offset = offset;
  return s;
}

enum : SignalIndex { other_device, volt, angle_deg, angle_rad, state, mode };

Bench test_bench() {
  Bench bench;
  bench.devices.resize(2);
  bench.devices[0].name = "other";
  bench.devices[1].name = "supply";
  bench.signals = {signal("other.x", 0, Direction::read, "angle"),
                   signal("supply.volt", 1, Direction::drive, "volt", 0.001, -0.5),  // field in mV
                   signal("angle.deg", 1, Direction::read, "angle", 180.0 / std::acos(-1.0), 1.5),
                   signal("angle.rad", 1, Direction::read, "angle"),
                   signal("supply.state", 1, Direction::read, "state"),
                   signal("supply.mode", 1, Direction::drive, "mode")};
  bench.signals[state].no_value = 255.0;
  return bench;
}

struct Kept final : SampleSink {
  void put(const Sample& sample) noexcept override {
    if (size < all.size()) all[size++] = sample;
  }
  std::array<Sample, 64> all{};
  std::size_t size{0};
};

WireModel line(Duration byte_time) { return {WireModel::Mode::stream, {}, {}, byte_time, 0ns}; }

// A device on a memory wire, and what the far end has heard.
struct Rig {
  explicit Rig(const WireModel& model = line(0ns)) : wire{model, 1, "rig"} {}

  std::string heard(BenchTime at) {
    std::array<std::byte, 1500> buffer{};
    std::string all;
    for (auto got = far->receive(buffer, at); got.size > 0; got = far->receive(buffer, at))
      all += text_of(std::span{buffer}.first(got.size));
    return all;
  }

  MemoryWire wire;
  std::unique_ptr<Link> bench_end{wire.bench_end()}, far{wire.far_end()};
  FieldDevice device{test_bench(), 1, *bench_end, std::make_unique<LineProtocol>()};
};

// Takes only so many bytes until it is given more room.
class Narrow final : public Link {
 public:
  int descriptor() const noexcept override { return -1; }
  Received receive(std::span<std::byte>, BenchTime) noexcept override { return {}; }
  SendResult send(std::span<const std::byte> bytes, BenchTime) noexcept override {
    if (error != 0) return {SendState::lost, 0, error};
    const auto taken = std::min(bytes.size(), room);
    for (const auto b : bytes.first(taken)) wire += static_cast<char>(b);
    room -= taken;
    return {taken < bytes.size() ? SendState::would_block : SendState::sent, taken, 0};
  }
  void drop_queued_output() noexcept override { dropped = true; }
  const LinkCounters& counters() const noexcept override { return counters_; }
  std::string describe() const override { return "narrow"; }

  std::string wire;
  std::size_t room{0};
  int error{0};
  bool dropped{false};

 private:
  LinkCounters counters_;
};

}  // namespace

TEST_CASE("a field becomes a sample of every signal that it feeds, in the signal's unit, with the stamp of the bytes") {
  Rig rig;
  Kept kept;
  const Stamp stamp{t0 + 3ms, StampedBy::kernel, 40us};
  CHECK(rig.device.last_heard() == BenchTime{});
  rig.device.arrived(bytes_of("angle=0.5\n"), stamp, kept);
  REQUIRE(kept.size == 2);
  CHECK(kept.all[0].signal == angle_deg);
  CHECK(kept.all[0].value ==
        Approx(0.5 * 57.29577951308232 + 1.5).epsilon(1e-14));  // 180/pi degrees a radian (SI brochure)
  CHECK(kept.all[1].signal == angle_rad);
  CHECK(kept.all[1].value == 0.5);
  for (std::size_t i = 0; i < 2; ++i) {
    CHECK(kept.all[i].when == t0 + 3ms);
    CHECK(kept.all[i].by == StampedBy::kernel);
    CHECK(kept.all[i].uncertainty_ns == 40'000);
  }
  CHECK(rig.device.last_heard() == t0 + 3ms);
}

TEST_CASE("the value that stands for no value becomes not-a-number, and only there") {
  Rig rig;
  Kept kept;
  rig.device.arrived(bytes_of("state=255\nstate=254\nangle=255\n"), {t0, StampedBy::harness, 10s}, kept);
  REQUIRE(kept.size == 4);
  CHECK(std::isnan(kept.all[0].value));
  CHECK(kept.all[1].value == 254.0);
  CHECK(kept.all[3].value == 255.0);
  CHECK(kept.all[0].uncertainty_ns ==
        std::numeric_limits<std::uint32_t>::max());  // 10 s do not fit: saturated, not wrapped
}

TEST_CASE("bytes that hold no whole message are no sign of life") {
  Rig rig;
  Kept kept;
  rig.device.arrived(bytes_of("angle=0."), {t0, StampedBy::harness, 0ns}, kept);
  CHECK(rig.device.last_heard() == BenchTime{});
  rig.device.arrived(bytes_of("25\n"), {t0 + 1ms, StampedBy::harness, 0ns}, kept);
  CHECK(rig.device.last_heard() == t0 + 1ms);
  REQUIRE(kept.size == 2);
  CHECK(kept.all[1].value == 0.25);
  rig.device.arrived(bytes_of("error\n"), {t0 + 2ms, StampedBy::harness, 0ns}, kept);
  CHECK(rig.device.last_heard() == t0 + 1ms);
  CHECK(rig.device.take_message() == 113);
  CHECK(rig.device.take_message() == 0);
  CHECK(rig.device.protocol().counters().good == 1);
}

TEST_CASE("a driven value is turned back into its field and sent when it is due") {
  Rig rig;
  CHECK(rig.device.transmit(t0) == Sent::nothing_due);
  CHECK(rig.device.set(volt, 13.5));  // 13.5 V = 0.001 * 14000 - 0.5
  CHECK_FALSE(rig.device.settled(volt));
  CHECK(rig.device.set(mode, 2.0));
  CHECK(rig.device.transmit(t0) == Sent::sent);
  CHECK(rig.device.settled(volt));
  CHECK(rig.heard(t0) == "volt=14000#1\nmode=2#2\n");
  CHECK(rig.device.transmit(t0 + 1ms) == Sent::nothing_due);
}

TEST_CASE("values that are not finite, and signals that are not driven by this device, are refused") {
  Rig rig;
  CHECK_FALSE(rig.device.set(volt, std::nan("")));
  CHECK_FALSE(rig.device.set(volt, std::numeric_limits<double>::infinity()));
  CHECK_FALSE(rig.device.set(volt, 1.7e308));  // finite, but not in millivolts
  CHECK_FALSE(rig.device.set(angle_deg, 1.0));
  CHECK_FALSE(rig.device.set(other_device, 1.0));
  CHECK_FALSE(rig.device.set(no_signal, 1.0));
  CHECK_FALSE(rig.device.settled(angle_deg));
  CHECK(rig.device.transmit(t0) == Sent::nothing_due);
}

TEST_CASE("a message that the port took in part is finished before the next one begins") {
  Narrow narrow;
  FieldDevice device{test_bench(), 1, narrow, std::make_unique<LineProtocol>()};
  device.set(mode, 1.0);
  narrow.room = 4;
  CHECK(device.transmit(t0) == Sent::would_block);
  CHECK(narrow.wire == "mode");
  device.set(mode, 3.0);
  CHECK(device.transmit(t0 + 1ms) == Sent::would_block);
  CHECK(narrow.wire == "mode");
  narrow.room = 2;
  CHECK(device.transmit(t0 + 2ms) == Sent::would_block);
  narrow.room = 100;
  CHECK(device.transmit(t0 + 3ms) == Sent::sent);
  CHECK(narrow.wire == "mode=1#1\nmode=3#2\n");
}

TEST_CASE("a failed send is told with the system's reason, and what was left of the message is not sent later") {
  Narrow narrow;
  FieldDevice device{test_bench(), 1, narrow, std::make_unique<LineProtocol>()};
  device.set(mode, 1.0);
  narrow.room = 4;
  CHECK(device.transmit(t0) == Sent::would_block);
  narrow.error = EIO;
  CHECK(device.transmit(t0) == Sent::failed);
  CHECK(device.last_error() == EIO);
  narrow.error = 0;
  narrow.room = 100;
  CHECK(device.transmit(t0) == Sent::nothing_due);
  device.set(mode, 2.0);
  CHECK(device.transmit(t0) == Sent::sent);
}

TEST_CASE(
    "who takes over drops the output, ends the half-sent line, and goes on with the counters of the one who died") {
  // 10 us a byte: the line "volt=14000#1\n" needs 130 us; the first process dies after 60 us, six bytes on the wire.
  Rig first{line(10us)};
  ProtocolMemory memory;
  first.device.set(volt, 13.5);
  CHECK(first.device.transmit(t0) == Sent::sent);
  first.device.remember(memory);
  std::array<std::byte, 8> none{};
  first.bench_end->receive(none, t0 + 60us);
  first.bench_end->send({}, t0 + 60us);

  FieldDevice second{test_bench(), 1, *first.bench_end, std::make_unique<LineProtocol>()};
  second.take_over(memory);
  second.set(volt, -0.5);
  CHECK(second.transmit(t0 + 60us) == Sent::sent);
  CHECK(first.heard(t0 + 1s) == "volt=1\nvolt=0#2\n");
}

TEST_CASE("after a take-over the terminator comes first even when nothing else is due") {
  Narrow narrow;
  narrow.room = 100;
  FieldDevice device{test_bench(), 1, narrow, std::make_unique<LineProtocol>()};
  device.take_over({});
  CHECK(narrow.dropped);
  CHECK(device.transmit(t0) == Sent::sent);
  CHECK(narrow.wire == "\n");
}

// The framing is that of the Modbus Messaging on TCP/IP Implementation Guide: a length in front, no pause, no end mark.
TEST_CASE("a message that only its rest can end is finished by who takes over, and the safe value follows") {
  const std::string settings = R"({"kind": "modbus", "transport": "tcp", "unit": 1, "timeout": "50 ms",
    "settings": {"torque": {"table": "holding", "address": 10, "type": "int16", "read_back": false}}})";
  Bench bench;
  bench.devices.resize(1);
  bench.signals = {signal("torque", 0, Direction::drive, "torque")};
  const auto cut_at = GENERATE(1U, 5U, 7U, 11U);  // of the request's twelve bytes
  const auto taken_with = [&](bool rest) {
    Narrow narrow;
    narrow.room = cut_at;
    ProtocolMemory memory;
    FieldDevice loop{bench, 0, narrow, testing::make(settings)};
    loop.set(0, 5.0);
    CHECK(loop.transmit(t0) == Sent::would_block);
    loop.remember(memory);
    if (!rest) memory.rest_size = 0;

    narrow.room = 1000;
    FieldDevice keeper{bench, 0, narrow, testing::make(settings)};
    keeper.take_over(memory);
    keeper.set(0, 0.0);
    CHECK(keeper.transmit(t0 + 1ms) == Sent::sent);
    const auto device = testing::make(settings, Side::peer);
    testing::KeptFields taken;
    device->on_bytes(bytes_of(narrow.wire), {t0, StampedBy::harness, 0ns}, taken);
    return taken.of(0);
  };
  CHECK(taken_with(true) == std::vector<double>{5.0, 0.0});
  CHECK(taken_with(false) != std::vector<double>{5.0, 0.0});
}

TEST_CASE("a device on the loop's path does not allocate") {
  Rig rig;
  Kept kept;
  ProtocolMemory memory;
  const auto before = allocations::so_far();
  for (int i = 0; i < 1000; ++i) {
    const auto t = t0 + i * 1ms;
    kept.size = 0;
    rig.device.arrived(std::as_bytes(std::span{"angle=0.5\nstate=255\n", 20}), {t, StampedBy::kernel, 50us}, kept);
    rig.device.set(volt, 0.01 * i);
    rig.device.transmit(t);
    rig.device.remember(memory);
    if (i % 100 == 0) rig.device.take_over(memory);
    std::array<std::byte, 1500> buffer{};
    rig.far->receive(buffer, t);
  }
  const auto made = allocations::so_far() - before;
  CHECK(made == 0);
  CHECK(kept.size == 3);
}
