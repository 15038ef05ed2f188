// Fields that are not always there, and numbers with a floating point.

#include <array>
#include <chrono>
#include <cmath>
#include <limits>

#include "drivers/protocol/frames.hpp"
#include "tests/protocol/wire.hpp"

using namespace trackrod;
using namespace trackrod::testing;
using namespace std::chrono_literals;

namespace {

const std::string paged = R"({"kind": "frames",
  "receive": {"diagnosis": {"length": 4, "selector": {"start": 0, "bits": 4}, "counter": {"start": 4, "bits": 4},
    "fields": {"speed": {"start": 8, "bits": 8}, "temperature": {"start": 16, "bits": 16, "signed": true, "scale": 0.1, "when": 2},
               "voltage": {"start": 16, "bits": 8, "when": 7}, "current": {"start": 24, "bits": 8, "when": 7}}}},
  "send": {"command": {"length": 4, "cycle": "1 ms", "selector": {"start": 0, "bits": 8},
    "fields": {"all": {"start": 8, "bits": 8}, "low": {"start": 16, "bits": 16, "when": 1}, "high": {"start": 16, "bits": 16, "when": 3}}}}})";

}  // namespace

TEST_CASE("a field with 'when' comes with its value of the selector alone") {
  const auto p = make(paged);
  KeptFields sink;
  CHECK(p->on_bytes(bytes({0x02, 5, 0x38, 0xFF}), stamp(1s), sink));  // FF38 = -200
  CHECK(p->on_bytes(bytes({0x17, 6, 120, 30}), stamp(2s), sink));
  CHECK(p->on_bytes(bytes({0x29, 7, 1, 2}), stamp(3s), sink));  // nothing but the speed is in it
  CHECK(sink.of(index(*p, "speed")) == std::vector<double>{5, 6, 7});
  REQUIRE(sink.of(index(*p, "temperature")).size() == 1);
  CHECK(sink.of(index(*p, "temperature"))[0] == Approx(-20.0));
  CHECK(sink.of(index(*p, "voltage")) == std::vector<double>{120});
  CHECK(sink.of(index(*p, "current")) == std::vector<double>{30});
  CHECK(p->counters().good == 3);
}

TEST_CASE("a frame with a selector is sent with each of its values in turn") {
  const auto p = make(paged);
  p->set(index(*p, "low"), 0x1122);
  p->set(index(*p, "high"), 0x3344);
  p->set(index(*p, "all"), 9);
  CHECK_FALSE(p->settled(index(*p, "low")));
  CHECK(copy(p->due(at(1000ms))) == bytes({1, 9, 0x22, 0x11}));
  CHECK(p->settled(index(*p, "low")));
  CHECK(p->settled(index(*p, "all")));
  CHECK_FALSE(p->settled(index(*p, "high")));
  CHECK(copy(p->due(at(1001ms))) == bytes({3, 9, 0x44, 0x33}));
  CHECK(p->settled(index(*p, "high")));
  CHECK(copy(p->due(at(1002ms))) == bytes({1, 9, 0x22, 0x11}));
  std::array<std::uint32_t, 24> words{};
  p->save(words);
  const auto next = make(paged);
  next->load(words);
  CHECK(copy(next->due(at(1003ms))) == bytes({1, 9, 0x22, 0x11}));
  CHECK(copy(next->due(at(1004ms))) == bytes({3, 9, 0x44, 0x33}));
}

// Source: IEEE 754: 1.5 is 3FC00000 as single and 3FF8000000000000 as double; -0.1 is BDCCCCCD as single.
TEST_CASE("floating-point fields stand as IEEE 754 says, in either order") {
  const auto p = make(R"({"kind": "frames", "receive": {"f": {"length": 24,
    "fields": {"a": {"start": 0, "bits": 32, "float": true}, "b": {"start": 39, "bits": 32, "float": true, "order": "big"},
               "c": {"start": 64, "bits": 64, "float": true}, "d": {"start": 135, "bits": 64, "float": true, "order": "big", "scale": 2, "offset": 1}}}}})");
  KeptFields sink;
  CHECK(p->on_bytes(bytes({0x00, 0x00, 0xC0, 0x3F, 0xBD, 0xCC, 0xCC, 0xCD, 0, 0, 0, 0,
                           0,    0,    0xF8, 0x3F, 0x3F, 0xF8, 0,    0,    0, 0, 0, 0}),
                    stamp(1s), sink));
  CHECK(sink.of(0)[0] == 1.5);
  CHECK(sink.of(1)[0] == static_cast<double>(-0.1F));
  CHECK(sink.of(2)[0] == 1.5);
  CHECK(sink.of(3)[0] == 4.0);
}

TEST_CASE("floating-point fields are sent as they are read, and bounded by what they hold") {
  const std::string text = R"({"kind": "frames", "send": {"f": {"length": 12, "cycle": "1 ms",
    "fields": {"a": {"start": 7, "bits": 32, "float": true, "order": "big", "scale": 0.5}, "b": {"start": 32, "bits": 64, "float": true}}}}})";
  const auto p = make(text), peer = make(text, Side::peer);
  KeptFields sink;
  Duration now = 1s;
  const auto sent = [&](double a, double b) {
    p->set(0, a);
    p->set(1, b);
    now += 1ms;
    peer->on_bytes(p->due(at(now)), stamp(now), sink);
    return std::pair{sink.of(0).back(), sink.of(1).back()};
  };
  CHECK(sent(0.75, -1.0 / 3.0) == std::pair{0.75, -1.0 / 3.0});
  CHECK(p->counters().clamped == 0);
  CHECK(sent(1e300, 1e300) == std::pair{0.5 * static_cast<double>(std::numeric_limits<float>::max()), 1e300});
  CHECK(p->counters().clamped == 1);
  CHECK(p->fields()[0].resolution == 0.0);
  KeptFields nan;
  const auto bytes_of_nan = bytes({0x7F, 0xC0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0});
  peer->on_bytes(bytes_of_nan, stamp(now), nan);
  CHECK(std::isnan(nan.of(0)[0]));
}
