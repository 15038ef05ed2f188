// Frames in streams whose messages are bounded by length, by delimiter or by silence.

#include "tests/protocol/wire.hpp"

using namespace trackrod;
using namespace trackrod::testing;
using namespace std::chrono_literals;

namespace {

std::string settings(const std::string& framing, const std::string& more = "") {
  return R"({"kind": "frames", "stream": true, "framing": )" + framing + R"(,
    "receive": {"status": {"length": 4, "match": {"start": 0, "bits": 16, "value": 1189},
      "fields": {"angle": {"start": 16, "bits": 16, "signed": true}}}},
    "send": {"command": {"length": 4, "cycle": "10 ms", "match": {"start": 0, "bits": 16, "value": 1190},
      "fields": {"torque": {"start": 16, "bits": 16, "signed": true}}})" +
         more + "}}";
}
// 1189 = 0x04A5: the start byte 0xA5 and the length 4.
const std::string by_length = R"({"by": "length", "start": "A5", "at": 1})";
const std::string by_delimiter = R"({"by": "delimiter", "delimiter": "0D 0A"})";
const std::string by_gap = R"({"by": "idle_gap", "gap": "3 ms"})";

std::string problems_of(const std::string& text) {
  Chosen chosen;
  Problems problems;
  read_settings(text, chosen, problems);
  std::string all;
  for (const auto& p : problems.sorted()) all += p.sentence() + "\n";
  return all;
}

}  // namespace

TEST_CASE("what the peer sends over each framing is taken by the bench, in whatever pieces it comes") {
  const auto framing = GENERATE_COPY(by_length, by_delimiter, by_gap);
  CAPTURE(framing);
  const auto bench = make(settings(framing)), peer = make(settings(framing), Side::peer);
  KeptFields sink;
  int taken = 0;
  for (int i = 0; i < 20; ++i) {
    const auto now = 10ms * i + 1ms;
    peer->set(index(*peer, "angle"), i * 7.0 - 50.0);
    const auto message = copy(peer->due(at(now)));
    REQUIRE(message.size() == (framing == by_delimiter ? 6U : 4U));
    const auto cut = static_cast<std::size_t>(i) % message.size();
    taken += bench->on_bytes(std::span{message}.first(cut), stamp(now), sink) ? 1 : 0;
    taken += bench->on_bytes(std::span{message}.subspan(cut), stamp(now + 1ms), sink) ? 1 : 0;
    const auto heard = bench->on_quiet(at(now + 5ms), sink);
    CHECK(heard.has_value() == (framing == by_gap));
    if (heard) {
      ++taken;
      CHECK(*heard == at(now + 1ms));
    }
  }
  CHECK(taken == 20);
  const auto values = sink.of(index(*bench, "angle"));
  REQUIRE(values.size() == 20);
  for (int i = 0; i < 20; ++i) CHECK(values[static_cast<std::size_t>(i)] == i * 7.0 - 50.0);
  CHECK(bench->counters().good == 20);
  CHECK(bench->counters().bad_length == 0);
}

TEST_CASE("after a take-over a delimiter ends what may be half sent, and with silence the gap is kept first") {
  CHECK(copy(make(settings(by_delimiter))->terminator()) == bytes({0x0D, 0x0A}));
  CHECK(make(settings(by_length))->terminator().empty());

  const auto dead = make(settings(by_gap)), heir = make(settings(by_gap));
  dead->set(index(*dead, "torque"), 5.0);
  REQUIRE_FALSE(dead->due(at(1ms)).empty());
  std::array<std::uint32_t, 24> memory{};
  dead->save(memory);
  heir->load(memory);
  CHECK(heir->due(at(20ms)).empty());
  CHECK(heir->due(at(22ms)).empty());
  CHECK(heir->due(at(23ms)).size() == 4);
}

TEST_CASE("messages that silence bounds are kept apart on the way out") {
  const std::string second =
      R"(, "lamp": {"length": 4, "cycle": "10 ms", "match": {"start": 0, "bits": 16, "value": 1191},
      "fields": {"on": {"start": 16, "bits": 1}}})";
  const auto p = make(settings(R"({"by": "idle_gap", "gap": "1 ms", "spacing": "4 ms"})", second));
  p->set(index(*p, "torque"), 1.0);
  p->set(index(*p, "on"), 1.0);
  std::vector<Duration> sent;
  for (auto now = 1ms; now < 41ms; now += 1ms)
    while (!p->due(at(now)).empty()) sent.push_back(now);
  REQUIRE(sent.size() == 8);
  for (std::size_t i = 1; i < sent.size(); ++i) CHECK(sent[i] - sent[i - 1] >= 4ms);
}

TEST_CASE("framings that cannot be are told where they stand") {
  CHECK(problems_of(settings(by_length)).empty());
  CHECK(problems_of(settings(R"({"by": "delimiter", "delimiter": "0x0D"})")).find("hexadecimal") != std::string::npos);
  CHECK(problems_of(settings(R"({"by": "delimiter", "delimiter": ""})")).find("1 to 4 bytes") != std::string::npos);
  CHECK(problems_of(settings(R"({"by": "pause", "gap": "1 ms"})")).find("'idle_gap'") != std::string::npos);
  CHECK(problems_of(settings(R"({"by": "idle_gap", "gap": "3 ms", "spacing": "11 ms"})")).find("more often") !=
        std::string::npos);
  auto datagrams = settings(by_gap);
  datagrams.replace(datagrams.find("true"), 4, "false");
  CHECK(problems_of(datagrams).find("without a stream") != std::string::npos);
}
