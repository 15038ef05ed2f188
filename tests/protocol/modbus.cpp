// The bench's Modbus end against our own server end, over virtual time.

#include "drivers/protocol/modbus.hpp"

#include <algorithm>
#include <array>
#include <chrono>
#include <cmath>
#include <random>

#include "tests/protocol/allocations.hpp"
#include "tests/protocol/wire.hpp"

using namespace trackrod;
using namespace trackrod::testing;
using namespace std::chrono_literals;

namespace {

std::string drive(const std::string& transport, const std::string& more = "") {
  return R"({"kind": "modbus", "transport": ")" + transport + R"(", "unit": 17, "timeout": "50 ms",
    "settings": {
      "torque": {"table": "holding", "address": 10, "type": "int16", "scale": 0.01},
      "position": {"table": "holding", "address": 20, "type": "int32", "scale": 0.001, "words": "little"},
      "limit": {"table": "holding", "address": 30, "type": "float32"},
      "enable": {"table": "coil", "address": 5}},
    "readings": {
      "speed": {"table": "input", "address": 100, "type": "int16", "scale": 0.1, "every": "20 ms"},
      "angle": {"table": "holding", "address": 107, "type": "int32", "scale": 0.001, "every": "20 ms"},
      "ready": {"table": "discrete", "address": 3, "every": "100 ms"}})" +
         more + "}";
}

Bytes joined(const Bytes& front, const Bytes& back) {
  Bytes all{front};
  for (const auto b : back) all.push_back(b);
  return all;
}

// Both ends joined by a wire on which everything takes `delay`. Steps of 1 ms.
class Rig {
 public:
  explicit Rig(const std::string& settings) : bench{make(settings)}, device{make(settings, Side::peer)} {}

  void run(Duration time) {
    for (const auto end = now + time; now < end; now += 1ms) {
      deliver();
      for (auto out = bench->due(at(now)); !out.empty(); out = bench->due(at(now))) {
        requests.push_back(copy(out));
        request_at.push_back(now);
        if (!is_cut) {
          device->on_bytes(out, stamp(now), at_device);
          for (auto reply = device->due(at(now)); !reply.empty(); reply = device->due(at(now)))
            coming.emplace_back(now + delay, copy(reply));
        }
      }
      for (auto m = bench->take_message(); m != 0; m = bench->take_message()) messages.push_back(m);
    }
  }
  void deliver() {
    std::erase_if(coming, [&](const auto& c) {
      if (c.first > now) return false;
      bench->on_bytes(c.second, stamp(now), at_bench);
      return true;
    });
  }
  FieldIndex field(const std::string& name) const { return index(*bench, name); }

  std::unique_ptr<Protocol> bench, device;
  KeptFields at_bench, at_device;
  std::vector<std::pair<Duration, Bytes>> coming;
  std::vector<Bytes> requests;
  std::vector<Duration> request_at;
  std::vector<std::uint32_t> messages;
  Duration now{}, delay{3ms};
  bool is_cut{false};
};

}  // namespace

TEST_CASE("Modbus values are written, read back, and settle; readings come in their cycle") {
  for (const char* transport : {"rtu", "tcp"}) {
    CAPTURE(transport);
    Rig rig{drive(transport)};
    rig.device->set(rig.field("speed"), -123.4);
    rig.device->set(rig.field("angle"), 1234.567);
    rig.device->set(rig.field("ready"), 1.0);
    rig.bench->set(rig.field("torque"), -3.21);
    rig.bench->set(rig.field("position"), 98.765);
    rig.bench->set(rig.field("limit"), 1.5);
    rig.bench->set(rig.field("enable"), 1.0);
    CHECK_FALSE(rig.bench->settled(rig.field("torque")));
    rig.run(400ms);
    for (const char* name : {"torque", "position", "limit", "enable"}) {
      CAPTURE(name);
      CHECK(rig.bench->settled(rig.field(name)));
    }
    CHECK(rig.at_device.of(rig.field("torque")) == std::vector<double>{-321 * 0.01});
    CHECK(rig.at_device.of(rig.field("position")) == std::vector<double>{98765 * 0.001});
    CHECK(rig.at_device.of(rig.field("limit")) == std::vector<double>{1.5});
    CHECK(rig.at_device.of(rig.field("enable")) == std::vector<double>{1.0});
    const auto speeds = rig.at_bench.of(rig.field("speed"));
    CHECK(speeds.size() >= 15);
    CHECK(speeds.size() <= 21);
    CHECK(speeds.front() == -1234 * 0.1);
    CHECK(rig.at_bench.of(rig.field("angle")).front() == 1234567 * 0.001);
    CHECK(rig.at_bench.of(rig.field("ready")).front() == 1.0);
    CHECK(rig.messages.empty());
    CHECK(rig.bench->counters().timed_out == 0);
    CHECK(rig.bench->counters().bad_checksum == 0);
  }
}

TEST_CASE("on a serial line a request waits for the silence after the answer before it") {
  Rig rig{drive("rtu", R"(, "gap": "4.1 ms")")};
  rig.run(300ms);
  REQUIRE(rig.request_at.size() > 10);
  for (std::size_t i = 1; i < rig.request_at.size(); ++i)
    CHECK(rig.request_at[i] - rig.request_at[i - 1] >= 3ms + 4100us);  // its answer came 3 ms after the request
}

TEST_CASE("a request that is not answered times out, is told, and the value is written again") {
  Rig rig{drive("rtu")};
  rig.is_cut = true;
  rig.bench->set(rig.field("torque"), 1.0);
  rig.run(120ms);
  CHECK(rig.bench->counters().timed_out == 2);
  CHECK(rig.messages == std::vector<std::uint32_t>{modbus_no_answer});  // once, until it is heard again
  CHECK(rig.bench->describe_message(modbus_no_answer) == "a request was not answered in time");
  CHECK_FALSE(rig.bench->settled(rig.field("torque")));
  rig.is_cut = false;
  rig.run(300ms);
  CHECK(rig.bench->settled(rig.field("torque")));
  CHECK(rig.at_bench.of(rig.field("speed")).size() > 5);
}

TEST_CASE("what a device forgot while it was silent is found and written again") {
  Rig rig{drive("tcp")};
  rig.bench->set(rig.field("torque"), 2.0);
  rig.run(100ms);
  REQUIRE(rig.bench->settled(rig.field("torque")));
  rig.is_cut = true;
  rig.run(200ms);
  CHECK_FALSE(rig.bench->settled(rig.field("torque")));
  rig.device = make(drive("tcp"), Side::peer);  // all its registers are 0 again
  rig.is_cut = false;
  rig.run(300ms);
  CHECK(rig.messages.back() == modbus_read_back_differs);
  CHECK(rig.bench->settled(rig.field("torque")));
  CHECK(rig.at_device.of(rig.field("torque")).back() == 2.0);
}

TEST_CASE("a refusal is told in words, and the value is tried again after a pause") {
  const std::string elsewhere = R"({"kind": "modbus", "transport": "tcp", "unit": 17, "timeout": "50 ms",
    "settings": {"torque": {"table": "holding", "address": 11}}})";
  Rig rig{elsewhere};
  rig.device = make(R"({"kind": "modbus", "transport": "tcp", "unit": 17,
    "settings": {"torque": {"table": "holding", "address": 99}}})",
                    Side::peer);
  rig.bench->set(0, 5.0);
  rig.run(130ms);
  REQUIRE(rig.messages.size() == 3);  // at 3, 56 and 109 ms
  CHECK(rig.messages[0] == 0x602);
  CHECK(rig.bench->describe_message(0x602) == "refused to write single register: illegal data address");
  CHECK(rig.bench->counters().refused == 3);
  CHECK_FALSE(rig.bench->settled(0));
}

TEST_CASE("on TCP a late answer is never taken for the answer to a later request") {
  Rig rig{R"({"kind": "modbus", "transport": "tcp", "unit": 1, "timeout": "10 ms",
    "readings": {"a": {"table": "input", "address": 1, "every": "1 ms"}, "b": {"table": "input", "address": 2, "every": "1 ms"}}})"};
  rig.device->set(0, 1.0);
  rig.device->set(1, 2.0);
  for (int i = 0; i < 400; ++i) {
    rig.delay = i % 7 < 3 ? 25ms : 2ms;
    rig.run(3ms);
  }
  CHECK(rig.bench->counters().timed_out > 10);
  CHECK(rig.bench->counters().repeated > 10);
  const auto a = rig.at_bench.of(0), b = rig.at_bench.of(1);
  CHECK(a.size() > 20);
  CHECK(std::all_of(a.begin(), a.end(), [](double v) { return v == 1.0; }));
  CHECK(std::all_of(b.begin(), b.end(), [](double v) { return v == 2.0; }));
}

TEST_CASE("on a serial line late answers run out before anything is read again") {
  Rig rig{R"({"kind": "modbus", "transport": "rtu", "unit": 1, "timeout": "20 ms",
    "readings": {"a": {"table": "input", "address": 1, "every": "1 ms"}, "b": {"table": "input", "address": 2, "every": "1 ms"}}})"};
  rig.device->set(0, 1.0);
  rig.device->set(1, 2.0);
  for (int i = 0; i < 400; ++i) {
    rig.delay = i % 40 < 10 ? 35ms : 2ms;  // longer than the time-out, shorter than twice that
    rig.run(3ms);
  }
  CHECK(rig.bench->counters().timed_out > 5);
  const auto a = rig.at_bench.of(0), b = rig.at_bench.of(1);
  CHECK(a.size() > 20);
  CHECK(std::all_of(a.begin(), a.end(), [](double v) { return v == 1.0; }));
  CHECK(std::all_of(b.begin(), b.end(), [](double v) { return v == 2.0; }));
}

TEST_CASE("values that change all the time starve neither read-backs nor readings") {
  Rig rig{drive("tcp")};
  rig.delay = 1ms;
  for (int i = 0; i < 1000; ++i) {
    rig.bench->set(rig.field("torque"), 0.01 * (i % 300));
    rig.bench->set(rig.field("position"), 0.001 * i);
    rig.run(1ms);
  }
  CHECK(rig.at_device.of(rig.field("torque")).size() > 50);
  CHECK(rig.at_device.of(rig.field("position")).size() > 50);
  CHECK(rig.at_bench.of(rig.field("speed")).size() > 20);
  CHECK(rig.at_bench.of(rig.field("angle")).size() > 20);
}

TEST_CASE("a value is written again in its cycle, for a device that stops when it hears nothing") {
  Rig rig{R"({"kind": "modbus", "transport": "tcp", "unit": 1,
    "settings": {"torque": {"table": "holding", "address": 1, "every": "10 ms"}}})"};
  rig.bench->set(0, 7.0);
  rig.run(105ms);
  const auto written = rig.at_device.of(0);
  CHECK(written.size() >= 9);
  CHECK(written.size() <= 11);
  CHECK(rig.bench->settled(0));
}

TEST_CASE("garbage, cut messages and our own echo cost no more than what they touch") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937 random{seed};
  const auto bench = make(drive("rtu")), device = make(drive("rtu"), Side::peer);
  device->set(index(*device, "angle"), 5.0);
  device->set(index(*device, "speed"), 5.0);
  KeptFields sink, nowhere;
  std::uint64_t asked = 0, disturbed = 0;
  Duration now{};
  for (int i = 0; i < 20000; ++i, now += 1ms) {
    const auto out = copy(bench->due(at(now)));
    if (out.empty()) continue;
    ++asked;
    device->on_bytes(out, stamp(now), nowhere);
    auto reply = copy(device->due(at(now)));
    const auto fate = random() % 8;
    if (fate == 0) {
      reply[random() % reply.size()] ^= static_cast<std::byte>(1 + random() % 255);
      ++disturbed;
    } else if (fate == 1) {
      reply.resize(random() % reply.size());
      ++disturbed;
    } else if (fate == 2) {
      reply = joined(out, reply);
    } else if (fate == 3) {
      Bytes noise(random() % 20);
      for (auto& b : noise) b = static_cast<std::byte>(random() % 16);
      reply = joined(noise, reply);
    }
    bench->on_bytes(reply, stamp(now), sink);
  }
  CHECK(bench->counters().timed_out <= disturbed + 5);
  CHECK(bench->counters().good + bench->counters().timed_out + 1 >= asked);
  for (const auto& taken : sink.all)
    if (taken.field != index(*bench, "ready")) CHECK(taken.value == Approx(5.0));
}

TEST_CASE("after a take-over the first request waits for silence, and the transaction number goes on far away") {
  Rig rig{drive("tcp")};
  rig.run(30ms);
  std::array<std::uint32_t, 24> memory{};
  rig.bench->save(memory);
  const auto keeper = make(drive("tcp"));
  keeper->load(memory);
  keeper->set(0, 0.0);
  const auto first = copy(keeper->due(at(rig.now)));
  REQUIRE(first.size() > 2);
  CHECK(word_at(first, 0) == word_at(rig.requests.back(), 0) + 0x4001);

  const auto serial = make(drive("rtu"));
  serial->load(memory);
  serial->set(0, 0.0);
  CHECK(serial->terminator().empty());
  CHECK(serial->due(at(100ms)).empty());
  CHECK(serial->due(at(101ms)).empty());
  CHECK_FALSE(serial->due(at(102ms)).empty());  // 1.75 ms of silence
}

TEST_CASE("a device tells who it is where it knows that function, and is used all the same where not") {
  Rig rig{drive("rtu", R"(, "identify": true)")};
  CHECK(rig.bench->identity().empty());
  rig.run(100ms);
  CHECK(rig.bench->identity() == "vendor: Invented\nproduct: Simulated device\nrevision: 1");
  CHECK(rig.messages.empty());

  const auto p = make(R"({"kind": "modbus", "transport": "rtu", "unit": 1, "identify": true})");
  KeptFields sink;
  CHECK(copy(p->due(at(0ms))).size() == 7);
  // Function 43 refused with exception 1; the checksum by the catalogue.
  std::array<std::byte, longest_modbus> room;
  const auto pdu = bytes({0xAB, 1});
  CHECK(p->on_bytes(carry_modbus(ModbusTransport::rtu, 1, {0, pdu}, room), stamp(1ms), sink));
  CHECK(p->take_message() == 0x2B01);
  CHECK(p->due(at(10ms)).empty());
}

TEST_CASE("values beyond what a register holds go out as its bound, and are counted") {
  Rig rig{drive("tcp")};
  rig.bench->set(rig.field("torque"), 1e6);
  rig.bench->set(rig.field("enable"), 5.0);
  rig.bench->set(rig.field("position"), std::nan(""));
  rig.run(50ms);
  CHECK(rig.at_device.of(rig.field("torque")) == std::vector<double>{327.67});
  CHECK(rig.at_device.of(rig.field("enable")) == std::vector<double>{1.0});
  CHECK(rig.at_device.of(rig.field("position")).empty());
  CHECK(rig.bench->counters().clamped == 3);
}

TEST_CASE("wrong Modbus settings are told with their places") {
  const auto problems_of = [](const std::string& text) {
    Chosen chosen;
    Problems problems;
    read_settings(text, chosen, problems);
    return problems.sorted().size();
  };
  CHECK(problems_of(drive("rtu")) == 0);
  CHECK(problems_of(R"({"kind": "modbus", "transport": "rtu", "unit": 0})") == 1);
  CHECK(problems_of(R"({"kind": "modbus", "transport": "tcp", "unit": 0})") == 0);
  const auto reading = [](const std::string& more) {
    return R"({"kind": "modbus", "transport": "tcp", "unit": 1, "readings": {"a": {"every": "1 s", )" + more + "}}}";
  };
  CHECK(problems_of(reading(R"("table": "coil", "address": 1, "type": "int16")")) == 1);
  CHECK(problems_of(reading(R"("table": "input", "address": 65535, "type": "int32")")) == 1);
  CHECK(problems_of(reading(R"("table": "input", "address": 65535, "type": "int16")")) == 0);
  CHECK(problems_of(reading(R"("table": "input", "address": 1, "scale": 0)")) == 1);
  CHECK(problems_of(R"({"kind": "modbus", "transport": "tcp", "unit": 1,
    "settings": {"a": {"table": "input", "address": 1}}})") == 1);
}

TEST_CASE("Modbus allocates nothing after construction") {
  for (const char* transport : {"rtu", "tcp"}) {
    const auto bench = make(drive(transport, R"(, "identify": true)")), device = make(drive(transport), Side::peer);
    LastField at_bench, at_device;
    std::array<std::uint32_t, 24> memory{};
    const auto before = allocations();
    for (int i = 0; i < 20000; ++i) {
      const auto now = 500us * i;
      bench->set(0, 0.01 * (i / 100 % 300));
      bench->set(3, i / 500 % 2);
      device->set(4, 0.1 * (i % 1000));
      for (auto b = bench->due(at(now)); !b.empty(); b = bench->due(at(now)))
        device->on_bytes(b.first(i % 64 == 0 ? b.size() / 2 : b.size()), stamp(now), at_device);
      for (auto b = device->due(at(now)); !b.empty(); b = device->due(at(now)))
        bench->on_bytes(b.first(i % 64 == 7 ? b.size() / 2 : b.size()), stamp(now), at_bench);
      bench->take_message();
      bench->save(memory);
      if (i % 5000 == 4999) bench->load(memory);
    }
    const auto after = allocations();
    CHECK(after == before);
    CHECK(at_bench.count > 100);
    CHECK(at_device.count > 20);
  }
}
