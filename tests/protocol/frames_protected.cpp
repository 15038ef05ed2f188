// Frames with end-to-end protection, as a bench describes them.

#include <array>
#include <chrono>

#include "drivers/protocol/frames.hpp"
#include "tests/protocol/wire.hpp"

using namespace trackrod;
using namespace trackrod::testing;
using namespace std::chrono_literals;

namespace {

std::string settings(const std::string& e2e, const std::string& more = "") {
  return R"({"kind": "frames")" + more + R"(,
    "receive": {"status": {"length": 8, "cycle": "10 ms", "e2e": {)" +
         e2e + R"(},
      "fields": {"angle": {"start": 32, "bits": 16}}}},
    "send": {"command": {"length": 8, "cycle": "10 ms", "e2e": {)" +
         e2e + R"(},
      "fields": {"torque": {"start": 32, "bits": 16}}}}})";
}
const std::string p05 = R"("profile": "P05", "data_id": 4660)";

// Bench and peer, and the frames that go each way.
struct Talk {
  explicit Talk(const std::string& text) : bench{make(text)}, peer{make(text, Side::peer)} {}

  Bytes from_peer(double angle) {
    peer->set(index(*peer, "angle"), angle);
    now += 10ms;
    return copy(peer->due(at(now)));
  }
  bool take(const Bytes& frame) { return bench->on_bytes(frame, stamp(now), sink); }
  double state() { return sink.of(index(*bench, "status.e2e_state")).back(); }
  double status() { return sink.of(index(*bench, "status.e2e_status")).back(); }
  std::size_t values() { return sink.of(index(*bench, "angle")).size(); }

  std::unique_ptr<Protocol> bench, peer;
  KeptFields sink;
  Duration now{1s};
};

}  // namespace

// Source: AUTOSAR PRS_E2EProtocol, protocol examples (identifiers and bytes as in tests/published/e2e.cpp).
TEST_CASE("a protected frame goes out as in the specification's examples") {
  for (const auto& [e2e, first, second] :
       {std::tuple{std::string{R"("profile": "P01", "data_id": 291)"}, bytes({0xCC, 0, 0, 0, 0, 0, 0, 0}),
                   bytes({0x91, 1, 0, 0, 0, 0, 0, 0})},
        std::tuple{std::string{R"("profile": "P01", "data_id": 291, "id_mode": "alternating")"},
                   bytes({0xCE, 0, 0, 0, 0, 0, 0, 0}), bytes({0x02, 1, 0, 0, 0, 0, 0, 0})},
        std::tuple{std::string{R"("profile": "P01", "data_id": 291, "id_mode": "nibble")"},
                   bytes({0x2A, 0x10, 0, 0, 0, 0, 0, 0}), bytes({0x77, 0x11, 0, 0, 0, 0, 0, 0})},
        std::tuple{p05, bytes({0x1C, 0xCA, 0, 0, 0, 0, 0, 0}), bytes({0xCF, 0x8D, 1, 0, 0, 0, 0, 0})}}) {
    CAPTURE(e2e);
    const auto bench = make(settings(e2e));
    bench->set(index(*bench, "torque"), 0);
    CHECK(copy(bench->due(at(1s))) == first);
    CHECK(copy(bench->due(at(1010ms))) == second);
  }
  const auto bench = make(settings(R"("profile": "P02", "data_ids": [0,0,0,0,0,0,0,0,0,0,0,0,0,0,0,0])"));
  bench->set(index(*bench, "torque"), 0);
  CHECK(copy(bench->due(at(1s))) == bytes({0x45, 1, 0, 0, 0, 0, 0, 0}));  // a sender of profile 2 starts with 1
}

TEST_CASE("the counters of sender and receiver go round together") {
  for (const auto* e2e : {R"("profile": "P01", "data_id": 291, "id_mode": "low")",
                          R"("profile": "P02", "data_ids": [1,2,3,4,5,6,7,8,9,10,11,12,13,14,15,16])",
                          R"("profile": "P05", "data_id": 7)"}) {
    CAPTURE(e2e);
    Talk talk{settings(e2e)};
    for (int i = 0; i < 600; ++i) CHECK(talk.take(talk.from_peer(i)));
    CHECK(talk.values() == 600);
    CHECK(talk.state() == 0.0);
    CHECK(talk.status() == 0.0);
    CHECK(talk.bench->counters().lost == 0);
  }
}

TEST_CASE("damaged, repeated and misplaced frames give no value, and are counted as what they are") {
  Talk talk{settings(p05)};
  for (int i = 0; i < 20; ++i) talk.take(talk.from_peer(i));
  CHECK(talk.values() == 20);
  auto damaged = talk.from_peer(20);
  damaged[4] ^= std::byte{1};
  CHECK_FALSE(talk.take(damaged));
  CHECK(talk.status() == 7.0);
  CHECK(talk.bench->counters().bad_checksum == 1);
  const auto good = talk.from_peer(21);
  CHECK(talk.take(good));  // one is missing
  CHECK(talk.status() == 0x20);
  CHECK(talk.bench->counters().lost == 1);
  CHECK_FALSE(talk.take(good));
  CHECK(talk.status() == 8.0);
  CHECK(talk.bench->counters().repeated == 1);
  for (int i = 0; i < 5; ++i) talk.from_peer(22);
  CHECK_FALSE(talk.take(talk.from_peer(23)));
  CHECK(talk.status() == 0x40);
  CHECK(talk.bench->counters().wrong_sequence == 1);
  CHECK(talk.values() == 21);
  CHECK(talk.state() == 0.0);
}

TEST_CASE("a frame under another identifier is not this message") {
  Talk talk{settings(p05)};
  Talk other{settings(R"("profile": "P05", "data_id": 4661)")};
  CHECK_FALSE(talk.take(other.from_peer(1)));
  CHECK(talk.values() == 0);
  CHECK(talk.bench->counters().bad_checksum == 1);
}

TEST_CASE("a message that falls silent becomes invalid after as many cycles as the window needs") {
  Talk talk{settings(p05 + R"(, "window": 4)")};
  for (int i = 0; i < 10; ++i) talk.take(talk.from_peer(i));
  const auto last = talk.now;
  CHECK(talk.state() == 0.0);
  for (; talk.now < last + 200ms && talk.bench->counters().became_invalid == 0; talk.now += 1ms)
    talk.bench->on_quiet(at(talk.now), talk.sink);
  // The fourth missing check is noticed when the frame of 40 ms is half a cycle late.
  CHECK(talk.now - last == 47ms);
  CHECK(talk.state() == 4.0);
  CHECK(talk.status() == 1.0);
  CHECK(talk.bench->counters().became_invalid == 1);
}

TEST_CASE("a clock that jumps far ahead costs no endless look back") {
  Talk talk{settings(p05)};
  for (int i = 0; i < 10; ++i) talk.take(talk.from_peer(i));
  talk.sink.all.clear();
  talk.bench->on_quiet(at(talk.now + 24h * 365), talk.sink);
  CHECK(talk.sink.all.size() < 200);
  CHECK(talk.state() == 4.0);
}

TEST_CASE("the process that takes over goes on with the next counter") {
  const auto text = settings(p05);
  const auto first = make(text);
  first->set(index(*first, "torque"), 3);
  for (int i = 0; i < 300; ++i) first->due(at(1s + 10ms * i));
  std::array<std::uint32_t, 24> words{};
  first->save(words);
  const auto expected = copy(first->due(at(5s)));
  const auto second = make(text);
  second->load(words);
  CHECK(copy(second->due(at(5s))) == expected);
  CHECK(expected[2] == static_cast<std::byte>(300 % 256));
}

TEST_CASE("protected frames are found in a stream") {
  Talk talk{settings(p05, R"(, "stream": true)")};
  Bytes all = bytes({1, 2, 3});
  for (int i = 0; i < 5; ++i) {
    const auto frame = talk.from_peer(i);
    all.insert(all.end(), frame.begin(), frame.end());
  }
  talk.take(all);
  CHECK(talk.values() == 5);
}
