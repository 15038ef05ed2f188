// When frames go out, and which share a datagram.

#include <array>
#include <chrono>

#include "drivers/protocol/frames.hpp"
#include "tests/protocol/wire.hpp"

using namespace trackrod;
using namespace trackrod::testing;
using namespace std::chrono_literals;

namespace {

std::string one_frame(const std::string& times) {
  return R"({"kind": "frames", "send": {"a": {"length": 4, )" + times +
         R"(, "counter": {"start": 0, "bits": 8}, "fields": {"x": {"start": 8, "bits": 16}}}}})";
}

// Times at which frames go out, looked for every 100 us from `from` on; `act` before each look.
template <class Act>
std::vector<Duration> times_of(Protocol& p, Duration from, Duration to, Act act) {
  std::vector<Duration> all;
  for (auto now = from; now < to; now += 100us) {
    act(now);
    while (!p.due(at(now)).empty()) all.push_back(now);
  }
  return all;
}
const auto nothing = [](Duration) {};

}  // namespace

TEST_CASE("a frame with a phase keeps to the bench clock's grid, whenever it starts") {
  for (const auto start : {1000ms, 1001ms, 1007ms}) {
    const auto p = make(one_frame(R"("cycle": "5 ms", "phase": "1.2 ms")"));
    p->set(0, 1);
    const auto times = times_of(*p, start, start + 30ms, nothing);
    REQUIRE(times.size() >= 5);
    for (const auto t : times) CHECK(t % 5ms == 1200us);
    for (std::size_t i = 1; i < times.size(); ++i) CHECK(times[i] - times[i - 1] == 5ms);
  }
}

TEST_CASE("frames of one cycle and different phases keep their distance across a take-over") {
  const std::string text = R"({"kind": "frames", "send": {
    "a": {"length": 4, "cycle": "10 ms", "phase": "0 ms", "match": {"start": 0, "bits": 8, "value": 1}, "fields": {"x": {"start": 8, "bits": 8}}},
    "b": {"length": 4, "cycle": "10 ms", "phase": "4 ms", "match": {"start": 0, "bits": 8, "value": 2}, "fields": {"y": {"start": 8, "bits": 8}}}}})";
  auto p = make(text);
  p->set(0, 1);
  p->set(1, 1);
  const auto expected = std::vector<Duration>{1010ms, 1014ms, 1020ms, 1024ms};
  CHECK(times_of(*p, 1005ms, 1025ms, nothing) == expected);
  std::array<std::uint32_t, 24> words{};
  p->save(words);
  p = make(text);
  p->load(words);
  CHECK(times_of(*p, 1025ms, 1035ms, nothing) == std::vector<Duration>{1030ms, 1034ms});
}

TEST_CASE("a frame on change goes out at the change, but not sooner than its distance") {
  const auto p = make(one_frame(R"("on_change": "2 ms")"));
  CHECK(times_of(*p, 1s, 1010ms, nothing).empty());
  const auto times = times_of(*p, 1010ms, 1050ms, [&](Duration now) {
    if (now == 1010ms) p->set(0, 0);  // the first value, though it is 0
    if (now == 1020ms) p->set(0, 5);
    if (now == 1021ms) p->set(0, 6);  // too soon: 2 ms after the last
    if (now == 1021500us) p->set(0, 7);
    if (now >= 1030ms) p->set(0, 7);  // no change
  });
  CHECK(times == std::vector<Duration>{1010ms, 1020ms, 1022ms});
  CHECK(p->settled(0));
  p->set(0, 8);
  CHECK_FALSE(p->settled(0));
}

TEST_CASE("with a cycle beside it, changes go out in between and the cycle keeps its phase") {
  const auto p = make(one_frame(R"("cycle": "10 ms", "on_change": "1 ms")"));
  const auto times = times_of(*p, 1s, 1040ms, [&](Duration now) {
    if (now == 1s) p->set(0, 1);
    if (now == 1013ms) p->set(0, 2);
    if (now == 1029500us) p->set(0, 3);
  });
  CHECK(times == std::vector<Duration>{1000ms, 1010ms, 1013ms, 1020ms, 1029500us, 1030ms});
}

TEST_CASE("a change that the dead process may not have sent is sent by the one that takes over") {
  const auto text = one_frame(R"("on_change": "2 ms")");
  auto p = make(text);
  p->set(0, 1);
  CHECK_FALSE(p->due(at(1s)).empty());
  p->set(0, 9);
  std::array<std::uint32_t, 24> words{};
  p->save(words);
  p = make(text);
  p->load(words);
  CHECK(copy(p->due(at(1005ms))) == bytes({1, 9, 0, 0}));
  CHECK(p->due(at(1010ms)).empty());
}

TEST_CASE("frames that are due at once share a datagram when they shall") {
  const std::string frames = R"("send": {
    "a": {"length": 4, "cycle": "1 ms", "match": {"start": 0, "bits": 8, "value": 1}, "fields": {"x": {"start": 8, "bits": 8}}},
    "b": {"length": 4, "cycle": "2 ms", "match": {"start": 0, "bits": 8, "value": 2}, "fields": {"y": {"start": 8, "bits": 8}}}}})";
  const std::string head = R"({"kind": "frames", "together": true, )";
  const auto p = make(head + frames);
  const auto peer = make(head + frames, Side::peer);
  p->set(0, 7);
  p->set(1, 9);
  const auto both = copy(p->due(at(1s)));
  CHECK(both == bytes({1, 7, 0, 0, 2, 9, 0, 0}));
  CHECK(p->due(at(1s)).empty());
  CHECK(copy(p->due(at(1001ms))) == bytes({1, 7, 0, 0}));
  KeptFields sink;
  CHECK(peer->on_bytes(both, stamp(1s), sink));
  CHECK(sink.of(0) == std::vector<double>{7.0});
  CHECK(sink.of(1) == std::vector<double>{9.0});
}

TEST_CASE("a datagram holds no more than Ethernet carries in one piece") {
  // Take-over memory is for small frames, so the peer sends the long ones.
  std::string text = R"({"kind": "frames", "together": true, "receive": {)";
  for (int i = 0; i < 4; ++i)
    text += (i > 0 ? ", " : "") + std::string{"\"f"} + std::to_string(i) +
            R"(": {"length": 700, "match": {"start": 0, "bits": 8, "value": )" + std::to_string(i) +
            R"(}, "fields": {"v)" + std::to_string(i) + R"(": {"start": 8, "bits": 8}}})";
  const auto peer = make(text + "}}", Side::peer);
  for (FieldIndex f = 0; f < 4; ++f) peer->set(f, 1);
  CHECK(peer->due(at(1s)).size() == 1400);
  CHECK(peer->due(at(1s)).size() == 1400);
  CHECK(peer->due(at(1s)).empty());
}
