// Nothing on the loop's path allocates after construction.

#include <array>
#include <chrono>

#include "tests/protocol/allocations.hpp"
#include "tests/protocol/canopen_rig.hpp"
#include "tests/protocol/wire.hpp"

using namespace trackrod;
using namespace trackrod::testing;
using namespace std::chrono_literals;

namespace {

// Lets both sides talk for a while; every sixteenth message is cut short.
std::uint64_t allocations_of_talk(const std::string& settings) {
  const auto bench = make(settings), peer = make(settings, Side::peer);
  LastField to_bench, to_peer;
  std::array<std::uint32_t, 24> memory{};
  const auto before = allocations();
  for (int i = 0; i < 20000; ++i) {
    const auto now = 500us * i;
    for (std::size_t f = 0; f < bench->fields().size(); ++f) {
      const auto field = static_cast<FieldIndex>(f);
      if (bench->fields()[f].drivable) bench->set(field, 0.37 * (i / 40));
      if (peer->fields()[f].drivable) peer->set(field, -1e5 + i);
      bench->settled(field);
    }
    for (auto b = bench->due(at(now)); !b.empty(); b = bench->due(at(now)))
      peer->on_bytes(b.first(i % 16 == 0 ? b.size() / 2 : b.size()), stamp(now), to_peer);
    for (auto b = peer->due(at(now)); !b.empty(); b = peer->due(at(now)))
      bench->on_bytes(b.first(i % 16 == 7 ? b.size() / 2 : b.size()), stamp(now), to_bench);
    bench->take_message();
    bench->save(memory);
    if (i % 1000 == 999) bench->load(memory);
  }
  const auto after = allocations();
  CHECK(to_bench.count > 100);
  CHECK(to_peer.count > 100);
  return after - before;
}

}  // namespace

TEST_CASE("the counter sees an allocation") {
  const auto before = allocations();
  const auto number = std::make_unique<int>(1);
  CHECK(*number == 1);
  CHECK(allocations() > before);
}

TEST_CASE("frames allocate nothing after construction") {
  const auto frames = [](const std::string& stream) {
    return R"({"kind": "frames", "stream": )" + stream + R"(,
      "receive": {"status": {"length": 12, "match": {"start": 0, "bits": 8, "value": 1}, "counter": {"start": 8, "bits": 4},
        "checksum": {"kind": "CRC-64/XZ", "at": 4}, "fields": {"x": {"start": 16, "bits": 16, "signed": true}}}},
      "send": {"command": {"length": 12, "cycle": "1 ms", "checksum": {"kind": "CRC-32/ISO-HDLC", "at": 8},
        "fields": {"y": {"start": 16, "bits": 16, "signed": true}}}}})";
  };
  CHECK(allocations_of_talk(frames("false")) == 0);
  CHECK(allocations_of_talk(frames("true")) == 0);
}

TEST_CASE("SCPI allocates nothing after construction") {
  const auto bench = make(R"({"kind": "scpi", "identify": "supply", "timeout": "3 ms",
      "settings": {"voltage": {"write": "VOLT {}", "read_back": "VOLT?", "digits": 9}, "output": {"write": "OUTP {}", "digits": 0}},
      "readings": {"measured": {"query": "MEAS:VOLT?", "every": "2 ms"}}})");
  LastField sink;
  std::array<std::uint32_t, 24> memory{};
  std::uint64_t settled = 0, told = 0;
  const auto before = allocations();
  for (int i = 0; i < 20000; ++i) {
    const auto now = 500us * i;
    bench->set(0, i % 1000 < 500 ? 12.5 : 1e300);
    bench->set(1, i / 100 % 2);
    for (auto b = bench->due(at(now)); !b.empty(); b = bench->due(at(now))) {
      if (i % 50 == 0) continue;  // does not arrive
      const std::string_view line{reinterpret_cast<const char*>(b.data()), b.size()};
      std::string_view answer;
      if (line == "*IDN?\n") answer = "maker,supply,0,1\n";
      if (line == "VOLT?\n" || line == "MEAS:VOLT?\n") answer = i % 77 == 0 ? "nonsense\n" : "12.5\n";
      if (line == "SYST:ERR?\n") answer = i % 33 == 0 ? "-222,\"Data out of range\"\n" : "0,\"No error\"\n";
      bench->on_bytes(std::as_bytes(std::span{answer}), stamp(now), sink);
    }
    settled += bench->settled(0) ? 1 : 0;
    told += bench->take_message() != 0 ? 1 : 0;
    bench->save(memory);
    if (i % 1000 == 999) bench->load(memory);
  }
  const auto after = allocations();
  CHECK(after == before);
  CHECK(sink.count > 100);
  CHECK(settled > 100);
  CHECK(told > 100);
}

TEST_CASE("CANopen allocates nothing after construction") {
  CanopenRig rig;  // its drive allocates as it likes, so only our own end is counted
  auto& peer = rig.peer;
  const auto bench = make(servo_settings);
  LastField sink;
  std::array<std::uint32_t, 24> memory{};
  std::uint64_t ours = 0, settled = 0, told = 0;
  const auto counted = [&](auto call) {
    const auto before = allocations();
    call();
    ours += allocations() - before;
  };
  for (int i = 0; i < 8000; ++i) {
    const auto now = 1s + 500us * i;
    counted([&] {
      bench->set(index(*bench, "target"), 0.001 * i);
      bench->set(index(*bench, "limit"), i / 100);
      bench->set(index(*bench, "drive_wanted"), i % 1000 < 100 ? 1 : 4);
      settled += bench->settled(index(*bench, "drive_wanted")) ? 1 : 0;
      told += bench->take_message() != 0 ? 1 : 0;
      bench->save(memory);
      if (i % 3000 == 2999) bench->load(memory);
    });
    if (i == 5000) peer.fail(0x2310);
    if (i == 7000) peer.power_on();
    std::span<const std::byte> b;
    for (counted([&] { b = bench->due(at(now)); }); !b.empty(); counted([&] { b = bench->due(at(now)); }))
      if (const auto f = can_data(b); i % 97 != 0) peer.take(f.id, data_bytes(f), at(now));
    for (auto f = peer.due(at(now)); f; f = peer.due(at(now))) {
      const auto d = datagram(can_data(f->id, f->data));
      counted([&] { bench->on_bytes(d, stamp(now), sink); });
    }
  }
  CHECK(ours == 0);
  CHECK(sink.count > 1000);
  CHECK(settled > 100);
  CHECK(told > 2);
}
