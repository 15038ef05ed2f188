#include "drivers/device/device_set.hpp"

#include "drivers/link/serial_link.hpp"
#include "drivers/link/udp_link.hpp"
#include "drivers/protocol/scpi_settings.hpp"
#include "tests/link/wire_help.hpp"

using namespace trackrod;
using namespace std::chrono_literals;

namespace {

ScpiSettings supply_settings() {
  ScpiSettings settings;
  ScpiSetting volt;
  volt.write.value = "VOLT {}";
  settings.settings.emplace_back(Name{"volt", {}}, volt);
  return settings;
}

DeviceSpec supply(const std::string& name, const std::string& kind, std::any link) {
  DeviceSpec device;
  device.name = name;
  device.link = {kind, std::move(link), {}};
  device.protocol = {"scpi", supply_settings(), {}};
  return device;
}

// Two supplies, one at a socket and one at a serial port; signal i drives the voltage of device i.
Bench two_supplies(const std::string& port) {
  PlainSocket a, b;
  SerialSettings line;
  line.path = port;
  line.settle = 1ms;
  Bench bench;
  bench.devices = {supply("net", "udp", UdpSettings{a.endpoint(), b.endpoint()}), supply("line", "serial", line)};
  for (std::size_t i = 0; i < 2; ++i) {
    auto& s = bench.signals.emplace_back();
    s.info.direction = Direction::drive;
    s.device = i;
    s.field = "volt";
  }
  return bench;
}

// Lets the device send until `wanted` has come out at the far end, and gives all that came.
std::string heard(Device& device, Link& far, const std::string& wanted) {
  std::string all;
  std::array<std::byte, 1500> buffer{};
  eventually([&] {
    device.transmit(now());
    const auto got = far.receive(buffer, now());
    all += text_of(std::span{buffer}.first(got.size));
    return all.find(wanted) != std::string::npos;
  });
  return all;
}

}  // namespace

TEST_CASE("all devices of a bench are opened in its order, and each speaks over its own link") {
  const TestFolder folder;
  const auto bench = two_supplies(folder.path + "/line");
  const auto far = open_far_ends(bench);
  REQUIRE(far);
  const auto set = open_devices(bench);
  REQUIRE(set);
  REQUIRE(set->devices.size() == 2);
  CHECK(set->links[0]->describe().starts_with("udp "));
  CHECK(set->links[1]->describe() == "serial " + folder.path + "/line 115200 8N1");
  for (SignalIndex i = 0; i < 2; ++i) {
    CHECK(set->devices[i]->set(i, 12.0 + i));
    CHECK_FALSE(set->devices[i]->set(static_cast<SignalIndex>(1 - i), 1.0));
    const auto wanted = "VOLT " + std::to_string(12 + i) + ".0000\n";
    CHECK(heard(*set->devices[i], *(*far)[i], wanted).find(wanted) != std::string::npos);
  }
  CHECK(set->link_pointers() == std::vector<Link*>{set->links[0].get(), set->links[1].get()});
  CHECK(set->device_pointers().size() == 2);
  CHECK(set->descriptors() == std::vector<int>{set->links[0]->descriptor(), set->links[1]->descriptor()});
}

TEST_CASE("every device that cannot be opened is named, one a line") {
  const TestFolder folder;
  auto bench = two_supplies(folder.path + "/nothing-here");
  const PlainSocket in_the_way{std::any_cast<const UdpSettings&>(bench.devices[0].link.value).local.port};
  const auto set = open_devices(bench);
  REQUIRE_FALSE(set);
  CAPTURE(set.error().context);
  CHECK(set.error().context.starts_with("device 'net': udp 127.0.0.1:"));
  CHECK(set.error().context.find("\ndevice 'line': serial port '" + folder.path + "/nothing-here'") !=
        std::string::npos);
}

TEST_CASE("a process that is handed the descriptors ends a half-sent line and is understood at once") {
  const TestFolder folder;
  const auto bench = two_supplies(folder.path + "/line");
  const auto far = open_far_ends(bench);
  REQUIRE(far);
  const auto keeper = open_devices(bench);
  REQUIRE(keeper);
  std::vector<int> descriptors;
  for (const int d : keeper->descriptors()) descriptors.push_back(dup(d));
  ProtocolMemory memory;
  {
    const auto loop = adopt_devices(bench, descriptors);
    loop.devices[1]->remember(memory);
    REQUIRE(loop.links[1]->send(bytes_of("VOLT 1"), now()).state == SendState::sent);  // dies in mid-line
  }
  // The half line has reached the instrument, as it may have on a real port.
  REQUIRE(take(*(*far)[1], 6) == "VOLT 1");
  auto& device = *keeper->devices[1];
  device.take_over(memory);
  CHECK(device.set(1, 0.0));
  const auto line = heard(device, *(*far)[1], "VOLT 0.0000\n");
  CHECK(line.starts_with(",@!\n"));
  CHECK(line.find("\nVOLT 0.0000\n") != std::string::npos);
}

TEST_CASE("the wires of a rehearsal behave as the bench's links are modelled, and repeat with the seed") {
  const auto bench = two_supplies("/dev/unused");
  const auto arrival_times = [&](std::uint64_t seed) {
    std::vector<Duration> late;
    const auto wires = make_wires(bench, seed);
    REQUIRE(wires.size() == 2);
    const auto from = wires[0].far_end(), to = wires[0].bench_end();
    std::array<std::byte, 16> buffer{};
    for (auto t = BenchTime{1s}; t < BenchTime{2s}; t += 10ms) {
      from->send(bytes_of("reading"), t);
      const auto got = to->receive(buffer, t + 9ms);
      REQUIRE(got.state == Received::State::bytes);
      late.push_back(got.stamp.when - t);
    }
    return late;
  };
  CHECK(arrival_times(5) == arrival_times(5));
  CHECK(arrival_times(5) != arrival_times(6));

  // The serial line joins what was sent apart; the socket does not.
  const auto wires = make_wires(bench, 1);
  std::array<std::byte, 16> buffer{};
  for (std::size_t i = 0; i < 2; ++i) {
    const auto from = wires[i].bench_end(), to = wires[i].far_end();
    from->send(bytes_of("ab"), BenchTime{1s});
    from->send(bytes_of("cd"), BenchTime{1s});
    CHECK(to->receive(buffer, BenchTime{2s}).size == (i == 0 ? 2 : 4));
  }
}
