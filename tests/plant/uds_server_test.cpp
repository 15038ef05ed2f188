// The diagnosis of the simulated unit: answers and negative responses after ISO 14229-1 (the codes of annex A, the bits
// of a status of annex D.2, both from memory), and a fault memory that what happens in the plant fills.

#include "fixtures/simulator/uds_server.hpp"

#include <array>
#include <random>

#include "drivers/protocol/uds_settings.hpp"
#include "fixtures/simulator/peer.hpp"
#include "tests/catch.hpp"
#include "tests/plant/rig.hpp"

using namespace trackrod;
using namespace std::chrono_literals;

namespace {

using Bytes = std::vector<int>;

struct Asked {
  TroubleMemory memory{{0x123456, 0xC40168}};
  UdsServer server{memory,
                   [](std::uint16_t id) {
                     return id == 0xF18C ? std::vector<std::uint8_t>{'0', '7'} : std::vector<std::uint8_t>{};
                   },
                   100ms};
  BenchTime now{1s};

  void ask(const Bytes& request) {
    std::vector<std::byte> bytes;
    for (const int b : request) bytes.push_back(static_cast<std::byte>(b));
    server.take(bytes, now);
  }
  Bytes next() {
    Bytes answer;
    for (const auto b : server.due(now)) answer.push_back(std::to_integer<int>(b));
    return answer;
  }
  Bytes said(const Bytes& request) {
    ask(request);
    return next();
  }
};

}  // namespace

TEST_CASE("an identifier is read, and one that the unit does not have is out of range") {
  Asked unit;
  CHECK(unit.said({0x22, 0xF1, 0x8C}) == Bytes{0x62, 0xF1, 0x8C, '0', '7'});
  CHECK(unit.said({0x22, 0xF1, 0x8D}) == Bytes{0x7F, 0x22, 0x31});
  CHECK(unit.said({0x22, 0x01, 0x10, 0xF1, 0x8C}) == Bytes{0x62, 0xF1, 0x8C, '0', '7'});  // what it has of both
  CHECK(unit.said({0x22, 0xF1}) == Bytes{0x7F, 0x22, 0x13});
}

TEST_CASE("what the server cannot do is refused with its reason") {
  Asked unit;
  CHECK(unit.said({0x2E, 0xF1, 0x8C, 1}) == Bytes{0x7F, 0x2E, 0x11});  // no such service
  CHECK(unit.said({0x19, 0x0A}) == Bytes{0x7F, 0x19, 0x12});           // no such sub-function
  CHECK(unit.said({0x19, 0x02}) == Bytes{0x7F, 0x19, 0x13});           // wrong length
  CHECK(unit.said({0x10, 0x02}) == Bytes{0x7F, 0x10, 0x12});
  CHECK(unit.said({0x14, 0x00, 0x00, 0x00}) == Bytes{0x7F, 0x14, 0x31});  // only all groups at once
  CHECK(unit.said({}) == Bytes{});
}

TEST_CASE("a session is entered with its times, and tester present is silent where asked") {
  Asked unit;
  CHECK(unit.said({0x10, 0x03}) == Bytes{0x50, 0x03, 0x00, 0x32, 0x01, 0xF4});  // 50 ms, 500 x 10 ms
  CHECK(unit.said({0x3E, 0x00}) == Bytes{0x7E, 0x00});
  CHECK(unit.said({0x3E, 0x80}) == Bytes{});
}

TEST_CASE("the fault memory is listed and counted by status mask") {
  Asked unit;
  CHECK(unit.said({0x19, 0x02, 0x08}) == Bytes{0x59, 0x02, 0xFF});
  CHECK(unit.said({0x19, 0x01, 0x50}) == Bytes{0x59, 0x01, 0xFF, 0x01, 0x00, 0x02});  // neither test has run
  unit.memory.tested(0, true);
  unit.memory.tested(1, false);
  CHECK(unit.said({0x19, 0x02, 0x08}) == Bytes{0x59, 0x02, 0xFF, 0x12, 0x34, 0x56, 0xAF});
  CHECK(unit.said({0x19, 0x01, 0x08}) == Bytes{0x59, 0x01, 0xFF, 0x01, 0x00, 0x01});
  CHECK(unit.said({0x19, 0x01, 0x50}) == Bytes{0x59, 0x01, 0xFF, 0x01, 0x00, 0x00});
}

TEST_CASE("clearing takes its time: pending first, busy meanwhile, then done") {
  Asked unit;
  unit.memory.tested(0, true);
  CHECK(unit.said({0x14, 0xFF, 0xFF, 0xFF}) == Bytes{0x7F, 0x14, 0x78});
  CHECK(unit.said({0x22, 0xF1, 0x8C}) == Bytes{0x7F, 0x22, 0x21});
  CHECK(unit.memory.status(0) == 0xAF);
  unit.now += 100ms;
  CHECK(unit.next() == Bytes{0x54});
  CHECK(unit.memory.status(0) == 0x50);
  CHECK(unit.next() == Bytes{});
}

TEST_CASE("a fault that is gone stays confirmed, and stops being pending after a cycle in which its test passed") {
  TroubleMemory memory{{0x123456}};
  memory.tested(0, true);
  CHECK(memory.status(0) == 0xAF);
  memory.tested(0, false);
  CHECK(memory.status(0) == 0x2E);  // no longer failed, no warning
  memory.begin_cycle();
  CHECK(memory.status(0) == 0x6C);  // not tested in this cycle
  memory.tested(0, false);
  CHECK(memory.status(0) == 0x2C);
  memory.begin_cycle();
  CHECK(memory.status(0) == 0x68);  // pending no more
}

TEST_CASE("any bytes get an answer to that service, or none") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937 random{seed};
  Asked unit;
  for (int i = 0; i < 20'000; ++i) {
    Bytes request;
    const auto services = std::array{0x10, 0x14, 0x19, 0x22, 0x3E, static_cast<int>(random() & 0xFF)};
    request.push_back(services[random() % services.size()]);
    for (auto more = random() % 8; more > 0; --more) request.push_back(static_cast<int>(random() & 0xFF));
    unit.now += 30ms;
    unit.ask(request);
    for (auto answer = unit.next(); !answer.empty(); answer = unit.next()) {
      CAPTURE(request, answer);
      if (answer[0] == 0x54) continue;  // of a clearing that was asked for earlier
      const bool is_refusal = answer.size() == 3 && answer[0] == 0x7F && answer[1] == request[0];
      REQUIRE((is_refusal || answer[0] == request[0] + 0x40));
    }
  }
}

TEST_CASE("a sagging supply and hand sensors that disagree set their codes in the plant's unit") {
  struct Row {
    double offset_b, low_volts;
    std::uint32_t code;  // 0: none
  };
  for (const auto& row : {Row{0.0, 13.5, 0}, Row{20.0, 13.5, 0x5A0164}, Row{0.0, 9.0, 0x5A0216}}) {
    CAPTURE(row.offset_b, row.low_volts);
    Truth truth;
    truth.hand.offset_b = row.offset_b;
    Bench bench;
    DeviceSpec device;
    device.protocol = {"uds", UdsSettings{}, {}};
    bench.devices.push_back(device);
    auto peer = make_diagnosis_peer(bench, 0, truth);
    REQUIRE(peer);
    Plant plant{truth, 1, BenchTime{1s}};
    rig::power_up(plant);
    (*peer)->look_at(plant);
    plant.set(PlantInput::supply_voltage, row.low_volts);
    for (int i = 0; i < 500; ++i) {
      plant.advance_to(plant.now() + 1ms);
      (*peer)->look_at(plant);
    }
    struct Nowhere final : CommandSink {
      void command(PlantInput, double) override { FAIL("diagnosis moves nothing"); }
    } nowhere;
    const std::array ask{std::byte{0x19}, std::byte{0x02}, std::byte{0x08}};
    (*peer)->on_bytes(ask, {plant.now(), StampedBy::kernel, 0ns}, nowhere);
    const auto answer = (*peer)->due(plant.now());
    REQUIRE(answer.size() == (row.code == 0 ? 3 : 7));
    if (row.code == 0) continue;
    const auto byte = [&](std::size_t at) { return std::to_integer<std::uint32_t>(answer[at]); };
    CHECK((byte(3) << 16 | byte(4) << 8 | byte(5)) == row.code);
  }
}
