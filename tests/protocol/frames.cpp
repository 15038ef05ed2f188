#include "drivers/protocol/frames.hpp"

#include <array>
#include <chrono>
#include <cmath>
#include <limits>

#include "tests/protocol/wire.hpp"

using namespace trackrod;
using namespace trackrod::testing;
using namespace std::chrono_literals;

namespace {

std::string drive_settings(bool stream = false) {
  return std::string{R"({"kind": "frames", "stream": )"} + (stream ? "true" : "false") + R"(,
    "receive": {"status": {"length": 8,
      "match": {"start": 0, "bits": 8, "value": 17},
      "counter": {"start": 8, "bits": 8},
      "checksum": {"kind": "CRC-16/IBM-3740", "at": 6},
      "fields": {"angle": {"start": 16, "bits": 24, "signed": true, "scale": 0.001},
                 "ready": {"start": 40, "bits": 1}}}},
    "send": {"command": {"length": 8, "cycle": "1 ms",
      "match": {"start": 0, "bits": 8, "value": 33},
      "counter": {"start": 8, "bits": 8},
      "checksum": {"kind": "CRC-16/IBM-3740", "at": 6},
      "fields": {"torque": {"start": 16, "bits": 16, "signed": true, "scale": 0.01},
                 "enable": {"start": 40, "bits": 1}}}}})";
}

// Angle -12.345, ready, counter 5. Checksum: Python's binascii.crc_hqx(frame[:6], 0xFFFF) = 0x89F2.
const Bytes status = bytes({0x11, 0x05, 0xC7, 0xCF, 0xFF, 0x01, 0xF2, 0x89});

// The frames that a peer sends for angles 0, 1, 2 ... one each millisecond.
std::vector<Bytes> frames_of_peer(std::size_t count, bool stream) {
  const auto peer = make(drive_settings(stream), Side::peer);
  std::vector<Bytes> all;
  for (std::size_t i = 0; i < count; ++i) {
    peer->set(index(*peer, "angle"), static_cast<double>(i));
    all.push_back(copy(peer->due(at(1ms * i))));
  }
  return all;
}

}  // namespace

TEST_CASE("a frame worked by hand gives its values with the stamp of its arrival") {
  const auto p = make(drive_settings());
  KeptFields sink;
  CHECK(p->on_bytes(status, stamp(7ms), sink));
  REQUIRE(sink.all.size() == 2);
  CHECK(sink.of(index(*p, "angle"))[0] == Approx(-12.345).epsilon(1e-14));
  CHECK(sink.of(index(*p, "ready"))[0] == 1.0);
  CHECK(sink.all[0].stamp.when == at(7ms));
  CHECK(p->counters().good == 1);
}

TEST_CASE("values go out at their place, with match, counter and checksum") {
  const auto p = make(drive_settings());
  CHECK(p->due(at(1ms)).empty());  // nothing was set: nothing is driven
  p->set(index(*p, "torque"), 100.0);
  // Checksum: Python's binascii.crc_hqx(frame[:6], 0xFFFF).
  CHECK(copy(p->due(at(2ms))) == bytes({0x21, 0x00, 0x10, 0x27, 0x00, 0x00, 0x49, 0x66}));
  CHECK(p->due(at(2ms)).empty());
  CHECK(copy(p->due(at(3ms))) == bytes({0x21, 0x01, 0x10, 0x27, 0x00, 0x00, 0x18, 0xCC}));
}

TEST_CASE("frames keep their phase, and missed cycles are left out") {
  const auto p = make(drive_settings());
  p->set(index(*p, "torque"), 1.0);
  CHECK_FALSE(p->due(at(300us)).empty());
  CHECK(p->due(at(1299us)).empty());
  CHECK_FALSE(p->due(at(1300us)).empty());
  CHECK_FALSE(p->due(at(6900us)).empty());  // four cycles were missed: one frame, no burst
  CHECK(p->due(at(6900us)).empty());
  CHECK(p->due(at(7299us)).empty());
  CHECK_FALSE(p->due(at(7300us)).empty());
}

TEST_CASE("a value that the field cannot hold is clamped to its bounds and counted") {
  const auto bench = make(drive_settings());
  const auto peer = make(drive_settings(), Side::peer);
  const auto torque = index(*bench, "torque");
  KeptFields sink;
  const auto taken = [&](double value, Duration now) {
    bench->set(torque, value);
    peer->on_bytes(bench->due(at(now)), stamp(now), sink);
    return sink.all.back().field == index(*peer, "enable") ? sink.of(torque).back() : std::nan("");
  };
  CHECK(taken(327.67, 1ms) == Approx(327.67));
  CHECK(taken(327.674, 2ms) == Approx(327.67));  // rounds to a count that it holds
  CHECK(bench->counters().clamped == 0);
  CHECK(taken(1e300, 3ms) == Approx(327.67));
  CHECK(taken(-1e300, 4ms) == Approx(-327.68));
  CHECK(bench->counters().clamped == 2);
  for (const double none :
       {std::nan(""), std::numeric_limits<double>::infinity(), -std::numeric_limits<double>::infinity()})
    bench->set(torque, none);
  CHECK(taken(std::nan(""), 5ms) == Approx(-327.68));  // the last value stays
  CHECK(bench->counters().clamped == 6);
  CHECK(bench->fields()[torque].low == Approx(-327.68));
  CHECK(bench->fields()[torque].high == Approx(327.67));
  CHECK(bench->fields()[torque].resolution == 0.01);
}

TEST_CASE("a value that was never a number sends nothing") {
  const auto p = make(drive_settings());
  p->set(index(*p, "torque"), std::nan(""));
  CHECK(p->due(at(1ms)).empty());
}

TEST_CASE("a value is settled once the frame that carries it was asked for") {
  const auto p = make(drive_settings());
  const auto torque = index(*p, "torque");
  CHECK_FALSE(p->settled(torque));
  p->set(torque, 1.0);
  CHECK_FALSE(p->settled(torque));
  p->due(at(1ms));
  CHECK(p->settled(torque));
  p->set(torque, 1.0);
  CHECK(p->settled(torque));
  p->set(torque, 2.0);
  CHECK_FALSE(p->settled(torque));
}

TEST_CASE("the other side has the same fields the other way round") {
  const auto bench = make(drive_settings());
  const auto peer = make(drive_settings(), Side::peer);
  REQUIRE(bench->fields().size() == peer->fields().size());
  for (std::size_t i = 0; i < bench->fields().size(); ++i) {
    CHECK(bench->fields()[i].name == peer->fields()[i].name);
    CHECK(bench->fields()[i].readable == peer->fields()[i].drivable);
    CHECK(bench->fields()[i].drivable == peer->fields()[i].readable);
  }
  CHECK(bench->fields()[index(*bench, "angle")].readable);
  CHECK(bench->fields()[index(*bench, "torque")].drivable);
}

TEST_CASE("gaps in the alive counter are lost frames, and a repeated frame gives nothing") {
  const auto p = make(drive_settings());
  KeptFields sink;
  const auto all = frames_of_peer(600, false);
  CHECK(p->on_bytes(all[250], stamp(1ms), sink));  // the first one only starts the count
  CHECK(p->counters().lost == 0);
  CHECK(p->on_bytes(all[251], stamp(2ms), sink));
  CHECK_FALSE(p->on_bytes(all[251], stamp(3ms), sink));
  CHECK(p->counters().repeated == 1);
  CHECK(p->on_bytes(all[262], stamp(4ms), sink));  // across the wrap from 255 to 0
  CHECK(p->counters().lost == 10);
  CHECK(p->counters().good == 3);
  CHECK(sink.of(index(*p, "angle")) == std::vector<double>{250.0, 251.0, 262.0});
}

TEST_CASE("a datagram that others overtook gives nothing, is told apart from a long gap, and does not move the count") {
  const auto p = make(drive_settings());
  KeptFields sink;
  const auto all = frames_of_peer(600, false);
  const auto take = [&](std::size_t i, Duration when) { return p->on_bytes(all[i], stamp(when), sink); };
  CHECK(take(254, 1ms));
  CHECK(take(257, 2ms));  // across the wrap from 255 to 0
  CHECK(p->counters().lost == 2);
  CHECK(take(255, 3ms));  // the device is alive
  CHECK(take(256, 4ms));
  CHECK(take(254, 5ms));  // three steps back
  CHECK(p->counters().reordered == 3);
  CHECK(take(258, 6ms));
  CHECK(p->counters().lost == 2);
  CHECK(take(254, 7ms));  // four steps back are a gap of 251 frames
  CHECK(p->counters().lost == 2 + 251);
  CHECK(p->counters().reordered == 3);
  CHECK(sink.of(index(*p, "angle")) == std::vector<double>{254.0, 257.0, 258.0, 254.0});
}

TEST_CASE("a stream cannot overtake itself: a step back there is a gap") {
  const auto p = make(drive_settings(true));
  KeptFields sink;
  const auto all = frames_of_peer(600, true);
  CHECK(p->on_bytes(all[254], stamp(1ms), sink));
  CHECK(p->on_bytes(all[253], stamp(2ms), sink));
  CHECK(p->counters().reordered == 0);
  CHECK(p->counters().lost == 254);
}

TEST_CASE("a changed bit anywhere is noticed") {
  for (std::size_t bit = 0; bit < status.size() * 8; ++bit) {
    const auto p = make(drive_settings());
    auto broken = status;
    broken[bit / 8] ^= static_cast<std::byte>(1U << bit % 8);
    KeptFields sink;
    CHECK_FALSE(p->on_bytes(broken, stamp(1ms), sink));
    CHECK(sink.all.empty());
    CHECK(p->counters().bad_checksum + p->counters().bad_length == 1);
  }
}

TEST_CASE("a datagram cut at any byte gives nothing, and several frames in one all count") {
  for (std::size_t size = 0; size < status.size(); ++size) {
    const auto p = make(drive_settings());
    KeptFields sink;
    CHECK_FALSE(p->on_bytes(std::span{status}.first(size), stamp(1ms), sink));
    CHECK(sink.all.empty());
    CHECK(p->counters().bad_length == 1);
  }
  const auto p = make(drive_settings());
  auto frames = frames_of_peer(3, false);
  frames[1][3] ^= std::byte{1};
  Bytes datagram;
  for (const auto& f : frames) datagram.insert(datagram.end(), f.begin(), f.end());
  datagram.push_back(std::byte{0x11});
  KeptFields sink;
  CHECK(p->on_bytes(datagram, stamp(1ms), sink));
  CHECK(sink.of(index(*p, "angle")) == std::vector<double>{0.0, 2.0});
  CHECK(p->counters().bad_checksum == 1);
  CHECK(p->counters().bad_length == 1);
  CHECK(p->counters().lost == 1);
}

TEST_CASE("frames of several kinds are told apart by their match") {
  const auto p = make(R"({"kind": "frames", "stream": true, "receive": {
    "slow": {"length": 4, "match": {"start": 0, "bits": 8, "value": 1}, "checksum": {"kind": "XOR-8", "at": 3},
             "fields": {"temperature": {"start": 8, "bits": 16, "order": "little", "scale": 0.5, "offset": -40}}},
    "fast": {"length": 5, "order": "big", "match": {"start": 7, "bits": 8, "value": 2}, "checksum": {"kind": "SUM-8", "at": 4},
             "fields": {"torque": {"start": 15, "bits": 16, "signed": true}}}}})");
  // By hand: 01 ^ 80 ^ 00 = 81; 02 + FF + FE + 07 = 206.
  const auto both = bytes({0x01, 0x80, 0x00, 0x81, 0x02, 0xFF, 0xFE, 0x07, 0x06});
  KeptFields sink;
  // 'slow' matches in little order, 'fast' in big order: bits 0 and 7 start the same byte, in each its own way.
  CHECK(p->on_bytes(both, stamp(1ms), sink));
  CHECK(sink.of(index(*p, "temperature")) == std::vector<double>{24.0});
  CHECK(sink.of(index(*p, "torque")) == std::vector<double>{-2.0});
}

TEST_CASE("a process that takes over goes on with counter, phase and values") {
  const auto loop = make(drive_settings());
  loop->set(index(*loop, "torque"), 12.5);
  loop->set(index(*loop, "enable"), 1.0);
  for (int i = 0; i < 300; ++i) loop->due(at(200us + 1ms * i));
  std::array<std::uint32_t, 24> memory{};
  loop->save(memory);

  const auto keeper = make(drive_settings());
  keeper->load(memory);
  keeper->set(index(*keeper, "torque"), 0.0);
  CHECK(keeper->due(at(300ms)).empty());
  const auto frame = copy(keeper->due(at(300ms + 200us)));
  REQUIRE(frame.size() == 8);
  CHECK(std::to_integer<int>(frame[1]) == 300 % 256);
  CHECK(std::to_integer<int>(frame[2]) == 0);
  CHECK(std::to_integer<int>(frame[5]) == 1);  // set by the other process, and not by this one
  const auto peer = make(drive_settings(), Side::peer);
  KeptFields sink;
  CHECK(peer->on_bytes(frame, stamp(301ms), sink));
}

TEST_CASE("a due time that was half written when the process died does not keep the safe value back") {
  const auto loop = make(drive_settings());
  loop->set(index(*loop, "torque"), 12.5);
  loop->due(at(1ms));
  std::array<std::uint32_t, 24> memory{};
  loop->save(memory);
  memory[2] = 0x7FFF;
  const auto keeper = make(drive_settings());
  keeper->load(memory);
  keeper->set(index(*keeper, "torque"), 0.0);
  CHECK_FALSE(keeper->due(at(5ms)).empty());
  CHECK(keeper->due(at(5ms + 999us)).empty());
  CHECK_FALSE(keeper->due(at(6ms)).empty());
}

TEST_CASE("memory of a process that never sent anything starts nothing") {
  const auto keeper = make(drive_settings());
  keeper->load(std::array<std::uint32_t, 24>{});
  CHECK(keeper->due(at(5ms)).empty());
}
