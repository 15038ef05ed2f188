// Relay boxes, meters that answer in blocks, and the identity of an instrument.

#include <algorithm>
#include <functional>
#include <map>
#include <sstream>

#include "tests/protocol/allocations.hpp"
#include "tests/protocol/wire.hpp"

using namespace trackrod;
using namespace trackrod::testing;
using namespace std::chrono_literals;

namespace {

const std::string box = R"json({"kind": "scpi", "timeout": "50 ms",
  "relays": {"feed_open": {"channels": "101"}, "both_shorted": {"channels": "203:204"}},
  "readings": {"sense": {"query": "ROUT:CLOS? (@101)", "every": "10 ms"}}})json";

// Lets the protocol talk for `time` to an instrument that answers at once, and returns what was sent.
template <class Answer>
std::vector<std::string> talk(Protocol& p, Duration& now, Duration time, KeptFields& sink, Answer&& answer) {
  std::vector<std::string> sent;
  for (const auto end = now + time; now < end; now += 1ms) {
    for (auto out = as_text(p.due(at(now))); !out.empty(); out = as_text(p.due(at(now)))) {
      sent.push_back(out.substr(0, out.size() - 1));
      const std::string reply = answer(sent.back());
      if (!reply.empty()) p.on_bytes(bytes(reply), stamp(now), sink);
    }
  }
  return sent;
}

// A box of relays by channel number, as SCPI-1999 describes ROUTe:CLOSe, :OPEN and :CLOSe?.
struct Box {
  std::map<int, bool> closed;
  bool is_welded{false};  // channel 204 does not open any more

  std::string operator()(const std::string& line) {
    if (line == "*IDN?") return "maker,box,7,1.2\n";
    if (line == "SYST:ERR?") return "0,\"No error\"\n";
    std::string states;
    std::istringstream list{line.substr(line.find("(@") + 2)};
    for (std::string entry; std::getline(list, entry, ',');) {
      const int first = std::stoi(entry);
      const int last = entry.find(':') == std::string::npos ? first : std::stoi(entry.substr(entry.find(':') + 1));
      for (int channel = first; channel <= last; ++channel) {
        if (line.starts_with("ROUT:CLOS (")) closed[channel] = true;
        if (line.starts_with("ROUT:OPEN (")) closed[channel] = is_welded && channel == 204;
        states += (states.empty() ? "" : ",") + std::string{closed[channel] ? "1" : "0"};
      }
    }
    return line.starts_with("ROUT:CLOS? (") ? states + "\n" : "";
  }
};

}  // namespace

TEST_CASE("relays are closed, opened and asked by channel list") {
  const auto p = make(box);
  Box relays;
  KeptFields sink;
  Duration now{};
  p->set(index(*p, "feed_open"), 1.0);
  p->set(index(*p, "both_shorted"), 1.0);
  const auto sent = talk(*p, now, 5ms, sink, std::ref(relays));
  CHECK(std::count(sent.begin(), sent.end(), "ROUT:CLOS (@101)") == 1);
  CHECK(std::count(sent.begin(), sent.end(), "ROUT:CLOS (@203:204)") == 1);
  CHECK(std::count(sent.begin(), sent.end(), "ROUT:CLOS? (@203:204)") == 1);
  CHECK(relays.closed == std::map<int, bool>{{101, true}, {203, true}, {204, true}});
  CHECK(p->settled(index(*p, "feed_open")));
  CHECK(p->settled(index(*p, "both_shorted")));
  REQUIRE_FALSE(sink.of(index(*p, "sense")).empty());
  CHECK(sink.of(index(*p, "sense")).back() == 1.0);

  p->set(index(*p, "feed_open"), 0.0);
  talk(*p, now, 20ms, sink, std::ref(relays));
  CHECK_FALSE(relays.closed[101]);
  CHECK(p->settled(index(*p, "feed_open")));
  CHECK(sink.of(index(*p, "sense")).back() == 0.0);
}

TEST_CASE("a relay that stays where it was is not settled, and told") {
  const auto p = make(box);
  Box relays;
  relays.is_welded = true;
  relays.closed = {{203, true}, {204, true}};
  KeptFields sink;
  Duration now{};
  p->set(index(*p, "both_shorted"), 0.0);
  talk(*p, now, 5ms, sink, std::ref(relays));
  CHECK_FALSE(relays.closed[203]);
  CHECK_FALSE(p->settled(index(*p, "both_shorted")));
  CHECK(p->take_message() == 100002);
  CHECK(p->counters().refused >= 1);
}

TEST_CASE("a relay is closed or open and nothing between") {
  const auto p = make(box);
  Box relays;
  KeptFields sink;
  Duration now{};
  p->set(0, 7.0);
  const auto sent = talk(*p, now, 5ms, sink, std::ref(relays));
  CHECK(std::count(sent.begin(), sent.end(), "ROUT:CLOS (@101)") == 1);
  CHECK(p->counters().clamped == 1);
}

// "wire": 1 closes 201, 2 closes 203 and 204, 3 closes 205.
const std::string chooser = R"json({"kind": "scpi", "timeout": "50 ms",
  "relays": {"wire": {"ways": ["201", "203:204", "205"]}}})json";

TEST_CASE("a relay with several ways opens the others, sees them open, and then closes the one that is wanted") {
  const auto p = make(chooser);
  CHECK(p->fields()[0].high == 3.0);
  Box relays;
  relays.closed = {{205, true}};  // left by somebody else
  KeptFields sink;
  Duration now{};
  p->set(0, 2.0);
  const auto sent = talk(*p, now, 5ms, sink, std::ref(relays));
  const auto place = [&](const std::string& line) { return std::find(sent.begin(), sent.end(), line) - sent.begin(); };
  CHECK(place("ROUT:OPEN (@201,205)") < place("ROUT:CLOS? (@201,205)"));
  CHECK(place("ROUT:CLOS? (@201,205)") < place("ROUT:CLOS (@203:204)"));
  CHECK(place("ROUT:CLOS (@203:204)") < place("ROUT:CLOS? (@203:204)"));
  CHECK(place("ROUT:CLOS? (@203:204)") < std::ssize(sent));
  CHECK(relays.closed == std::map<int, bool>{{201, false}, {203, true}, {204, true}, {205, false}});
  CHECK(p->settled(0));

  p->set(0, 0.0);
  const auto opened = talk(*p, now, 5ms, sink, std::ref(relays));
  REQUIRE_FALSE(opened.empty());
  CHECK(opened.front() == "ROUT:OPEN (@201,203:204,205)");  // the first thing that goes out, and all that is needed
  CHECK(std::ranges::none_of(opened, [](const auto& line) { return line.starts_with("ROUT:CLOS ("); }));
  CHECK(std::ranges::none_of(relays.closed, [](const auto& relay) { return relay.second; }));
  CHECK(p->settled(0));
  CHECK(p->take_message() == 0);
}

TEST_CASE("while one way does not open no other one is closed") {
  const auto p = make(chooser);
  Box relays;
  relays.is_welded = true;
  relays.closed = {{203, true}, {204, true}};
  KeptFields sink;
  Duration now{};
  p->set(0, 3.0);
  const auto sent = talk(*p, now, 200ms, sink, std::ref(relays));
  CHECK(std::count(sent.begin(), sent.end(), "ROUT:OPEN (@201,203:204)") > 1);  // it is tried again
  CHECK(std::count(sent.begin(), sent.end(), "ROUT:CLOS (@205)") == 0);
  CHECK_FALSE(p->settled(0));
  CHECK(p->take_message() == 100002);
  // The contact comes loose.
  relays.is_welded = false;
  talk(*p, now, 200ms, sink, std::ref(relays));
  CHECK(relays.closed[205]);
  CHECK(p->settled(0));
}

TEST_CASE("another value that comes while ways are changed begins with opening anew") {
  const auto p = make(chooser);
  Box relays;
  KeptFields sink;
  Duration now{};
  p->set(0, 1.0);
  CHECK(as_text(p->due(at(now))) == "ROUT:OPEN (@203:204,205)\n");
  p->set(0, 3.0);
  const auto sent = talk(*p, now, 10ms, sink, std::ref(relays));
  REQUIRE_FALSE(sent.empty());
  CHECK(sent.front() == "ROUT:OPEN (@201,203:204)");
  CHECK(std::count(sent.begin(), sent.end(), "ROUT:CLOS (@201)") == 0);
  CHECK(relays.closed == std::map<int, bool>{{201, false}, {203, false}, {204, false}, {205, true}});
}

TEST_CASE("choosing ways allocates nothing after construction") {
  const auto p = make(chooser);
  const auto no_error = bytes("0,\"No error\"\n"), identity = bytes("maker,box,7,1.2\n");
  const auto open = bytes("0\n"), closed = bytes("1\n");
  KeptFields sink;
  int settled = 0;
  const auto before = allocations();
  bool opens = false;
  for (int i = 0; i < 40; ++i) {
    p->set(0, i % 4);
    for (auto out = p->due(at(1ms)); !out.empty(); out = p->due(at(1ms))) {
      const std::string_view line{reinterpret_cast<const char*>(out.data()), out.size()};
      if (line.starts_with("ROUT:OPEN ")) opens = true;
      if (line.starts_with("ROUT:CLOS ")) opens = false;
      if (line.starts_with("ROUT:CLOS? ")) p->on_bytes(opens ? open : closed, stamp(1ms), sink);
      if (line.starts_with("SYST:ERR?")) p->on_bytes(no_error, stamp(1ms), sink);
      if (line.starts_with("*IDN?")) p->on_bytes(identity, stamp(1ms), sink);
    }
    settled += p->settled(0) ? 1 : 0;
  }
  CHECK(allocations() == before);
  CHECK(settled == 40);
}

TEST_CASE("a reading is taken out of a block of numbers, whatever bytes are in it") {
  const auto p = make(R"({"kind": "scpi", "timeout": "20 ms", "readings": {
    "second": {"query": "FETC?", "every": "5 ms", "block": {"type": "real32", "item": 1}}}})");
  KeptFields sink;
  Duration now{};
  // 10.0 and 2.0 as IEEE 754 single precision, high byte first: 41200000 and 40000000; then 0A0D0A0D, which is no end
  // of a line here.
  const std::string block{"#212\x41\x20\x00\x00\x40\x00\x00\x00\x0a\x0d\x0a\x0d\n", 17};
  talk(*p, now, 12ms, sink, [&](const std::string& line) -> std::string {
    if (line == "SYST:ERR?") return "0,\"No error\"\n";
    return line == "*IDN?" ? "maker,meter,1,1\n" : block;
  });
  CHECK(sink.of(0) == std::vector<double>{2.0, 2.0, 2.0});
  CHECK(p->counters().bad_length == 0);
  CHECK(p->counters().timed_out == 0);
}

TEST_CASE("a block that promises more than comes costs one reading and no more") {
  const auto p = make(R"({"kind": "scpi", "timeout": "20 ms", "readings": {
    "level": {"query": "FETC?", "every": "50 ms", "block": {"type": "int8"}}}})");
  KeptFields sink;
  Duration now{};
  int asked = 0;
  talk(*p, now, 200ms, sink, [&](const std::string& line) -> std::string {
    if (line == "SYST:ERR?") return "0,\"No error\"\n";
    if (line == "*IDN?") return "maker,meter,1,1\n";
    return ++asked == 1 ? "#3999abc\n" : asked == 2 ? "#9999999999x\n" : std::string{"#11\x85\n"};
  });
  CHECK(p->counters().timed_out == 2);
  CHECK(sink.of(0) == std::vector<double>{-123.0, -123.0});
}

TEST_CASE("an instrument tells who it is, and one that does not is used all the same") {
  const auto p = make(box);
  KeptFields sink;
  Duration now{};
  CHECK(p->identity().empty());
  talk(*p, now, 5ms, sink, Box{});
  CHECK(p->identity() == "maker: maker\nmodel: box\nserial: 7\nfirmware: 1.2");

  const auto mute = make(box);
  Box relays;
  mute->set(0, 1.0);
  const auto sent = talk(*mute, now, 200ms, sink,
                         [&](const std::string& line) { return line == "*IDN?" ? std::string{} : relays(line); });
  CHECK(std::count(sent.begin(), sent.end(), "*IDN?") == 1);
  CHECK(mute->identity().empty());
  CHECK(mute->settled(0));
  CHECK(mute->counters().good > 5);
}

TEST_CASE("wrong relays, blocks and cut-offs are told with their places") {
  const auto problems_of = [](const std::string& text) {
    Chosen chosen;
    Problems problems;
    read_settings(text, chosen, problems);
    return problems.sorted().size();
  };
  const auto relay = [](const std::string& settings) {
    return R"({"kind": "scpi", "relays": {"r": {)" + settings + "}}}";
  };
  CHECK(problems_of(relay(R"("channels": "101,103:105")")) == 0);
  CHECK(problems_of(relay(R"("channels": "1!2,2!3")")) == 0);
  for (const char* channels : {"(@101)", "101,", ",101", "101,,102", "a1", "101:", "10 1"})
    CHECK(problems_of(relay(std::string{R"("channels": ")"} + channels + '"')) == 1);
  CHECK(problems_of(relay(R"("ways": ["1", "2:3"])")) == 0);
  CHECK(problems_of(relay(R"("ways": ["1", "2:"])")) == 1);
  CHECK(problems_of(relay(R"("ways": ["1"])")) == 1);
  CHECK(problems_of(relay(R"("ways": ["1", "2"], "channels": "3")")) == 1);
  CHECK(problems_of(relay(R"("close": "ROUT:CLOS")")) == 1);
  const std::string fifty(50, '1');
  CHECK(problems_of(relay(R"("ways": [")" + fifty + R"(", ")" + fifty + R"("])")) == 1);  // with a comma 101 together
  CHECK(problems_of(relay(R"("channels": "1", "query": "ROUT:CLOS")")) == 1);
  CHECK(problems_of(relay(R"("channels": "1", "close": "ROUT:CLOS {}")")) == 1);
  CHECK(problems_of(R"({"kind": "scpi", "cut_off": "ABORT"})") == 1);
  CHECK(problems_of(R"({"kind": "scpi", "cut_off": "\u0003,@!"})") == 0);
  CHECK(problems_of(R"({"kind": "scpi", "relays": {"a": {"channels": "1"}},
                        "readings": {"a": {"query": "X?", "every": "1 s"}}})") == 1);
}
