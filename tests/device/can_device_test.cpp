// Devices on a CAN bus: which frames their links are asked for, and what the controller says of the bus.

#include <array>

#include "drivers/device/device_set.hpp"
#include "drivers/link/can_link.hpp"
#include "drivers/protocol/can_error.hpp"
#include "drivers/protocol/frames_settings.hpp"
#include "tests/device/line_protocol.hpp"
#include "tests/link/wire_help.hpp"

using namespace trackrod;
using namespace std::chrono_literals;

namespace {

struct Nowhere final : SampleSink {
  void put(const Sample&) noexcept override { ++count; }
  int count{0};
};

// Remembers what it was asked for.
class Asked final : public Link {
 public:
  int descriptor() const noexcept override { return -1; }
  Received receive(std::span<std::byte>, BenchTime) noexcept override { return {}; }
  SendResult send(std::span<const std::byte> bytes, BenchTime) noexcept override {
    return {SendState::would_block, 0, bytes.empty() ? 0 : ENOBUFS};
  }
  void want(std::span<const CanFilter> arriving, std::span<const CanFilter> own) override {
    for (const auto& f : arriving) wanted.push_back(f.id);
    for (const auto& f : own) sent.push_back(f.id);
  }
  void drop_queued_output() noexcept override {}
  const LinkCounters& counters() const noexcept override { return counters_; }
  std::string describe() const override { return "asked"; }

  std::vector<std::uint32_t> wanted, sent;

 private:
  LinkCounters counters_;
};

FrameSettings frame(std::uint32_t id) {
  FrameSettings f;
  f.length.value = 8;
  f.can = CanPlace{{id, {}}};
  f.cycle = Located<Duration>{10ms, {}};
  return f;
}

Bench can_bench() {
  CanSettings link;
  link.interface = "can0";
  FramesSettings frames;
  frames.receive.push_back({{"status", {}}, frame(0x181)});
  frames.send.push_back({{"command", {}}, frame(0x201)});
  Bench bench;
  bench.devices.resize(1);
  bench.devices[0].name = "drive";
  bench.devices[0].link = {"can", link, {}};
  bench.devices[0].protocol = {"frames", frames, {}};
  return bench;
}

// The error frame of a controller that left the bus: class 0x40 of linux/can/error.h.
const std::array bus_off{std::byte{0x20}, std::byte{0}, std::byte{0}, std::byte{0x40}, std::byte{0},
                         std::byte{0},    std::byte{0}, std::byte{0}, std::byte{0},    std::byte{0},
                         std::byte{0},    std::byte{0}, std::byte{0}};

}  // namespace

TEST_CASE("each link is asked for the frames of its device, and told which ones the bench sends") {
  std::vector<std::unique_ptr<Link>> links;
  links.push_back(std::make_unique<Asked>());
  auto& asked = static_cast<Asked&>(*links[0]);
  const auto set = make_devices(can_bench(), std::move(links));
  CHECK(asked.wanted == std::vector<std::uint32_t>{0x181});
  CHECK(asked.sent == std::vector<std::uint32_t>{0x201});
}

TEST_CASE("bus trouble becomes a message with words, not a sign of life and no sample") {
  std::vector<std::unique_ptr<Link>> links;
  links.push_back(std::make_unique<Asked>());
  const auto set = make_devices(can_bench(), std::move(links));
  auto& device = *set.devices[0];
  Nowhere samples;
  device.arrived(bus_off, {BenchTime{1s}, StampedBy::kernel, {}}, samples);
  CHECK(samples.count == 0);
  CHECK(device.last_heard() == BenchTime{});
  const auto code = device.take_message();
  CHECK(code == first_can_message + static_cast<std::uint32_t>(CanTrouble::bus_off));
  CHECK(device.describe_message(code).find("bus-off") != std::string::npos);
  CHECK(device.message_window().by == BenchTime{});
  CHECK(device.take_message() == 0);
}

TEST_CASE("on another link the same bytes are the protocol's") {
  auto bench = can_bench();
  bench.devices[0].link.kind = "";
  Asked link;
  FieldDevice device{bench, 0, link, std::make_unique<LineProtocol>()};
  Nowhere samples;
  device.arrived(bus_off, {BenchTime{1s}, StampedBy::kernel, {}}, samples);
  CHECK(device.take_message() == 0);
  CHECK(device.describe_message(first_can_message).empty());
}
