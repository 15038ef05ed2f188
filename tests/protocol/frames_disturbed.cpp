// What faults of messages make of frames, byte for byte.

#include <array>
#include <chrono>

#include "tests/protocol/allocations.hpp"
#include "tests/protocol/wire.hpp"

using namespace trackrod;
using namespace trackrod::testing;
using namespace std::chrono_literals;

namespace {

using K = MessageFault::Kind;

// Frame n: n 2 x, with x = 1, and an exclusive or behind it: n ^ 3.
const std::string counted =
    R"("a": {"length": 4, "cycle": "10 ms", "counter": {"start": 0, "bits": 8}, "match": {"start": 8, "bits": 8, "value": 2},
             "checksum": {"kind": "XOR-8", "at": 3}, "fields": {"x": {"start": 16, "bits": 8}}})";
const std::string plain = R"("b": {"length": 2, "cycle": "4 ms", "match": {"start": 8, "bits": 8, "value": 7},
             "fields": {"y": {"start": 0, "bits": 8}}})";
std::string sending(const std::string& frames, const std::string& more = "") {
  return R"({"kind": "frames")" + more + R"(, "send": {)" + frames + "}}";
}
Bytes frame(int n) { return bytes({n, 2, 1, n ^ 3}); }

struct Sent {
  Duration when;
  Bytes what;
  bool operator==(const Sent&) const = default;
};
using Traffic = std::vector<Sent>;
std::ostream& operator<<(std::ostream& out, const Sent& s) {
  out << std::chrono::duration_cast<std::chrono::milliseconds>(s.when).count() << " ms:";
  for (const auto b : s.what) out << ' ' << static_cast<int>(b);
  return out;
}

// A sender that is asked for its messages every millisecond, from 1 s on.
struct Sender {
  explicit Sender(const std::string& text = sending(counted), MessageFault what = {}) : fault{what}, p{make(text)} {
    if (fault.message == every_message && fault.kind != K::silent) fault.message = 0;
    p->expect(fault);
    for (FieldIndex i = 0; i < p->fields().size(); ++i) p->set(i, p->fields()[i].name == "x" ? 1 : 5);
  }
  Traffic until(Duration end) {
    Traffic all;
    for (; now < end; now += 1ms)
      for (auto b = p->due(at(now)); !b.empty(); b = p->due(at(now))) all.push_back({now, copy(b)});
    return all;
  }
  Duration first() const { return p->disturbance(fault).first.time_since_epoch(); }
  Duration restored() const { return p->disturbance(fault).restored.time_since_epoch(); }

  MessageFault fault;
  std::unique_ptr<Protocol> p;
  Duration now{1s};
};

// Two good frames, the fault from 1015 ms to 1055 ms, and two frames behind it.
struct Course {
  Traffic before, with, after;
};
Course course(Sender& s) {
  Course c;
  c.before = s.until(1015ms);
  s.p->disturb(s.fault);
  c.with = s.until(1055ms);
  s.p->leave(s.fault);
  c.after = s.until(1075ms);
  CHECK(c.before == Traffic{{1000ms, frame(0)}, {1010ms, frame(1)}});
  return c;
}

MessageFault of(K kind) {
  MessageFault f;
  f.kind = kind;
  return f;
}

}  // namespace

TEST_CASE("a dropped frame was sent all the same: its counter goes on") {
  Sender s{sending(counted), of(K::dropped)};
  const auto c = course(s);
  CHECK(c.with.empty());
  CHECK(c.after == Traffic{{1060ms, frame(6)}, {1070ms, frame(7)}});
  CHECK(s.first() == 1020ms);  // when it was due
  CHECK(s.restored() == 1060ms);
}

TEST_CASE("a frame that is held back arrives late as it was; what is still held in the end is thrown away") {
  auto fault = of(K::held_back);
  fault.time = 25ms;
  Sender s{sending(counted), fault};
  const auto c = course(s);
  CHECK(c.with == Traffic{{1045ms, frame(2)}});
  CHECK(c.after == Traffic{{1060ms, frame(6)}, {1070ms, frame(7)}});
  CHECK(s.first() == 1020ms);
}

TEST_CASE("a repeated frame goes out again at once, counter and all") {
  auto fault = of(K::repeated);
  fault.times = 2;
  Sender s{sending(counted), fault};
  const auto c = course(s);
  REQUIRE(c.with.size() == 12);
  for (std::size_t i = 0; i < 12; ++i) CHECK(c.with[i].what == frame(2 + static_cast<int>(i) / 3));
  CHECK(c.with[2].when == 1020ms);
  CHECK(c.after.front().what == frame(6));
  CHECK(s.first() == 1020ms);
}

TEST_CASE("a frame repeated in place of the next ones keeps them from being counted") {
  auto fault = of(K::repeated);
  fault.times = 2, fault.in_place = true;
  Sender s{sending(counted), fault};
  const auto c = course(s);
  CHECK(c.with == Traffic{{1020ms, frame(2)}, {1030ms, frame(2)}, {1040ms, frame(2)}, {1050ms, frame(3)}});
  CHECK(c.after.front().what == frame(4));
  CHECK(s.first() == 1030ms);  // the first one was new
}

TEST_CASE("a wrong counter stands in a frame that is right otherwise, and the right one goes on behind it") {
  const auto [step, counters] = GENERATE(table<int, std::vector<int>>({
      {0, {1, 1, 1, 1}},
      {4, {5, 9, 13, 17}},
      {-1, {0, 255, 254, 253}},
  }));
  CAPTURE(step);
  auto fault = of(K::miscounted);
  fault.step = step;
  Sender s{sending(counted), fault};
  const auto c = course(s);
  REQUIRE(c.with.size() == 4);
  for (std::size_t i = 0; i < 4; ++i) CHECK(c.with[i].what == frame(counters[i]));
  CHECK(c.after.front().what == frame(6));
}

TEST_CASE("a wrong checksum stands in a frame that is right otherwise") {
  Sender s{sending(counted), of(K::corrupted)};
  const auto c = course(s);
  REQUIRE(c.with.size() == 4);
  CHECK(c.with[0].what == bytes({2, 2, 1, 0xFF ^ 2 ^ 3}));
  CHECK(c.with[3].what == bytes({5, 2, 1, 0xFF ^ 5 ^ 3}));
  CHECK(c.after.front().what == frame(6));
}

// Bytes: the examples of AUTOSAR PRS_E2EProtocol for the counters 0 and 1, as in tests/published/e2e.cpp.
TEST_CASE("a protected frame with a wrong counter is protected anew, one with a wrong checksum counts on") {
  for (const auto& [e2e, first, second, spoilt] :
       {std::tuple{std::string{R"("profile": "P01", "data_id": 291)"}, bytes({0xCC, 0, 0, 0, 0, 0, 0, 0}),
                   bytes({0x91, 1, 0, 0, 0, 0, 0, 0}), bytes({0x6E, 1, 0, 0, 0, 0, 0, 0})},
        std::tuple{std::string{R"("profile": "P05", "data_id": 4660)"}, bytes({0x1C, 0xCA, 0, 0, 0, 0, 0, 0}),
                   bytes({0xCF, 0x8D, 1, 0, 0, 0, 0, 0}), bytes({0x30, 0x72, 1, 0, 0, 0, 0, 0})}}) {
    CAPTURE(e2e);
    const auto text = sending(R"("a": {"length": 8, "cycle": "10 ms", "e2e": {)" + e2e +
                              R"(}, "fields": {"torque": {"start": 32, "bits": 16}}})");
    Sender miscounted{text, of(K::miscounted)};  // its counter stands still
    miscounted.p->set(0, 0);
    CHECK(miscounted.until(1001ms) == Traffic{{1000ms, first}});
    miscounted.p->disturb(miscounted.fault);
    CHECK(miscounted.until(1011ms) == Traffic{{1010ms, first}});

    Sender corrupted{text, of(K::corrupted)};
    corrupted.p->set(0, 0);
    CHECK(corrupted.until(1001ms) == Traffic{{1000ms, first}});
    corrupted.p->disturb(corrupted.fault);
    CHECK(corrupted.until(1011ms) == Traffic{{1010ms, spoilt}});
    CHECK(spoilt != second);
  }
}

TEST_CASE("a frame of wrong length is cut, or has zeros behind it") {
  const auto [step, third] = GENERATE(table<int, Bytes>({{2, bytes({2, 2, 1, 1, 0, 0})}, {-3, bytes({2})}}));
  auto fault = of(K::wrong_length);
  fault.step = step;
  Sender s{sending(counted), fault};
  const auto c = course(s);
  REQUIRE(c.with.size() == 4);
  CHECK(c.with[0].what == third);
  CHECK(c.after.front().what == frame(6));
}

TEST_CASE("at a wrong cycle each frame is a new one, and the right cycle keeps its phase") {
  auto fault = of(K::wrong_cycle);
  fault.time = 3ms;
  Sender fast{sending(counted), fault};
  auto c = course(fast);
  REQUIRE(c.with.size() == 14);
  for (std::size_t i = 0; i < 14; ++i) CHECK(c.with[i].what == frame(2 + static_cast<int>(i)));
  for (std::size_t i = 2; i < 14; ++i) CHECK(c.with[i].when - c.with[i - 1].when == 3ms);
  CHECK(fast.first() == 1015ms);  // at once: it is more than 3 ms since the last one
  CHECK(c.after.front() == Sent{1060ms, frame(16)});

  fault.time = 25ms;
  Sender slow{sending(counted), fault};
  c = course(slow);
  CHECK(c.with == Traffic{{1035ms, frame(2)}});
  CHECK(slow.first() == 1020ms);  // one was missing
  CHECK(c.after.front() == Sent{1060ms, frame(3)});
}

TEST_CASE("silence is of all frames, and no counter goes on in it") {
  Sender s{sending(counted + "," + plain), of(K::silent)};
  s.until(1015ms);
  s.p->disturb(s.fault);
  CHECK(s.until(1055ms).empty());
  CHECK(s.first() == 1016ms);  // the first that was missed
  s.p->leave(s.fault);
  const auto after = s.until(1065ms);
  CHECK(after ==
        Traffic{{1056ms, bytes({5, 7})}, {1060ms, frame(2)}, {1060ms, bytes({5, 7})}, {1064ms, bytes({5, 7})}});
  CHECK(s.restored() == 1056ms);
}

TEST_CASE("babbling is more good frames beside those of the cycle") {
  auto fault = of(K::babbling);
  fault.time = 5ms, fault.times = 2;
  Sender s{sending(counted), fault};
  const auto c = course(s);
  REQUIRE(c.with.size() == 16 + 4);
  for (std::size_t i = 0; i < c.with.size(); ++i) CHECK(c.with[i].what == frame(2 + static_cast<int>(i)));
  CHECK(s.first() == 1015ms);
  CHECK(c.after.front() == Sent{1060ms, frame(22)});
}

TEST_CASE("a fault of one frame leaves the others alone") {
  Sender s{sending(counted + "," + plain), of(K::dropped)};
  s.p->disturb(s.fault);
  const auto all = s.until(1040ms);
  CHECK(all.size() == 10);
  for (const auto& sent : all) CHECK(sent.what == bytes({5, 7}));
}

TEST_CASE("in a datagram of several frames the dropped one is missing") {
  Sender s{sending(counted + "," + plain, R"(, "together": true)"), of(K::dropped)};
  CHECK(s.until(1001ms).front().what == bytes({0, 2, 1, 3, 5, 7}));
  s.p->disturb(s.fault);
  for (const auto& sent : s.until(1040ms)) CHECK(sent.what == bytes({5, 7}));
}

TEST_CASE("on CAN and in a stream frames are made wrong inside their wrapping") {
  const auto on_can =
      R"("a": {"length": 3, "cycle": "10 ms", "can": {"id": "0x120"}, "counter": {"start": 0, "bits": 8},
                               "fields": {"x": {"start": 8, "bits": 16}}})";
  auto fault = of(K::wrong_length);
  fault.step = -1;
  Sender can{sending(on_can), fault};
  can.p->disturb(can.fault);
  CHECK(can.until(1001ms) == Traffic{{1000ms, bytes({0, 0, 1, 0x20, 0, 0, 1})}});

  fault.step = 1;
  Sender stream{sending(counted, R"(, "stream": true, "framing": {"by": "delimiter", "delimiter": "55"})"), fault};
  stream.p->disturb(stream.fault);
  CHECK(stream.until(1001ms) == Traffic{{1000ms, bytes({0, 2, 1, 3, 0, 0x55})}});
}

TEST_CASE("a value that a fault kept from arriving is not settled, and is sent once the fault is over") {
  Sender s{sending(R"("a": {"length": 1, "on_change": "1 ms", "fields": {"x": {"start": 0, "bits": 8}}})"),
           of(K::dropped)};
  s.p->set(0, 1);
  CHECK(s.until(1010ms) == Traffic{{1000ms, bytes({1})}});
  s.p->disturb(s.fault);
  s.p->set(0, 2);
  CHECK(s.until(1020ms).empty());
  CHECK_FALSE(s.p->settled(0));
  s.p->leave(s.fault);
  CHECK_FALSE(s.p->settled(0));
  s.p->set(0, 2);  // no change, and yet it must go out
  CHECK(s.until(1030ms) == Traffic{{1020ms, bytes({2})}});
  CHECK(s.p->settled(0));
}

TEST_CASE("who takes over from a sender with a fault sends what is right") {
  Sender s{sending(counted), of(K::silent)};
  s.until(1015ms);
  s.p->disturb(s.fault);
  s.until(1055ms);
  std::array<std::uint32_t, 24> words{};
  s.p->save(words);
  Sender successor;
  successor.p->load(words);
  successor.now = 1056ms;
  CHECK(successor.until(1075ms) == Traffic{{1060ms, frame(2)}, {1070ms, frame(3)}});
}

TEST_CASE("a fault without a message in its time says so") {
  Sender s{sending(counted), of(K::corrupted)};
  s.until(1011ms);
  s.p->disturb(s.fault);
  s.until(1019ms);
  s.p->leave(s.fault);
  s.until(1040ms);
  CHECK(s.first() == Duration{});
  CHECK(s.restored() == Duration{});
}

TEST_CASE("faults allocate nothing once they are expected") {
  for (int kind = 0; kind <= static_cast<int>(K::babbling); ++kind) {
    CAPTURE(kind);
    auto fault = of(static_cast<K>(kind));
    fault.time = 7ms, fault.times = 3, fault.step = 2;
    Sender s{sending(counted + "," + plain), fault};
    const auto before = allocations();
    for (int turn = 0; turn < 200; ++turn) {
      if (turn % 20 == 5) s.p->disturb(s.fault);
      if (turn % 20 == 15) s.p->leave(s.fault);
      s.now += 1ms;
      for (auto b = s.p->due(at(s.now)); !b.empty(); b = s.p->due(at(s.now))) continue;
      s.p->disturbance(s.fault);
    }
    CHECK(allocations() == before);
  }
}
