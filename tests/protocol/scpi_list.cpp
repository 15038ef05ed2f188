// Lists of values that an instrument runs by itself: the messages, by hand after SCPI-1999, volume 2 (SOURce:LIST,
// VOLTage:MODE, INITiate, ABORt; from memory).

#include "drivers/protocol/scpi.hpp"
#include "tests/protocol/scpi_talk.hpp"

using namespace trackrod;
using namespace trackrod::testing;
using namespace std::chrono_literals;

namespace {

const std::string with_list = R"({"kind": "scpi",
  "settings": {"voltage": {"write": "VOLT {}", "read_back": "VOLT?", "tolerance": 0.01, "digits": 2, "list": {"points": 3}}},
  "timeout": "50 ms"})";

using Lines = std::vector<std::string>;

// Without what is asked.
Lines commands(const Talk& talk) {
  Lines out;
  for (const auto& line : talk.sent)
    if (!line.ends_with('?')) out.push_back(line);
  return out;
}

struct Listing : Talk {
  explicit Listing(Instrument how = {}) : Talk{with_list, std::move(how)} {
    set("voltage", 13.5);
    run(100ms);
  }
  bool prepare(const std::vector<ListPoint>& points) {
    return protocol->prepare_list(index(*protocol, "voltage"), points);
  }
  bool start() { return protocol->start_list(index(*protocol, "voltage")); }
};

const std::vector<ListPoint> drop{{13.5, 250ms}, {6.0, 100ms}, {13.5, 1500us}};

}  // namespace

TEST_CASE("an instrument that knows lists is brought back to plain values first") {
  Listing talk;
  CHECK(commands(talk) == Lines{"VOLT 13.50", "ABOR", "VOLT:MODE FIX"});
  CHECK(talk.settled("voltage"));
}

TEST_CASE("a list is handed over, and starts with one message") {
  Listing talk;
  talk.forget();
  REQUIRE(talk.prepare(drop));
  CHECK_FALSE(talk.start());  // it is not there yet
  talk.run(100ms);
  CHECK(commands(talk) ==
        Lines{"LIST:VOLT 13.50,6.00,13.50", "LIST:DWEL 0.2500,0.1000,0.0015", "LIST:COUN 1", "VOLT:MODE LIST"});
  talk.forget();
  talk.set("voltage", 13.5);  // the same as before changes nothing
  REQUIRE(talk.start());
  talk.run(50ms);
  CHECK(commands(talk) == Lines{"INIT"});
}

TEST_CASE("a plain value ends a list, the same value too, and is read back") {
  Listing talk;
  REQUIRE(talk.prepare(drop));
  talk.run(100ms);
  REQUIRE(talk.start());
  talk.run(20ms);
  talk.forget();
  talk.set("voltage", 13.5);
  CHECK_FALSE(talk.settled("voltage"));
  talk.run(1ms);
  CHECK(commands(talk) == Lines{"VOLT 13.50", "ABOR", "VOLT:MODE FIX"});  // at once: within one turn
  talk.run(100ms);
  CHECK(talk.settled("voltage"));
  CHECK(std::ranges::count(talk.sent, "VOLT?") >= 1);
}

TEST_CASE("another plain value takes a list back that did not start") {
  Listing talk;
  REQUIRE(talk.prepare(drop));
  talk.run(100ms);
  talk.forget();
  talk.set("voltage", 9.0);
  talk.run(100ms);
  CHECK(commands(talk) == Lines{"VOLT 9.00", "ABOR", "VOLT:MODE FIX"});
  CHECK_FALSE(talk.start());
}

TEST_CASE("a list that the instrument refuses is not started") {
  Listing talk;
  talk.answer = [instrument = Instrument{}](const std::string& line) mutable {
    if (line.starts_with("LIST:VOLT")) instrument.errors.emplace_back("-223,\"Too much data\"");
    return instrument(line);
  };
  REQUIRE(talk.prepare(drop));
  talk.run(200ms);
  CHECK_FALSE(talk.start());
  CHECK(std::ranges::count(talk.messages, -223) == 1);
  CHECK(std::ranges::count(talk.sent, "VOLT:MODE FIX") >= 1);
}

TEST_CASE("too many points, none, or a field without lists") {
  Listing talk;
  CHECK_FALSE(talk.prepare({}));
  CHECK_FALSE(talk.prepare({{1.0, 1ms}, {2.0, 1ms}, {3.0, 1ms}, {4.0, 1ms}}));
  Talk plain;
  CHECK_FALSE(plain.protocol->prepare_list(index(*plain.protocol, "voltage"), drop));
}

TEST_CASE("who takes over ends a list before anything else is set") {
  Listing talk;
  REQUIRE(talk.prepare(drop));
  talk.run(100ms);
  REQUIRE(talk.start());
  talk.run(20ms);
  std::array<std::uint32_t, 24> words{};
  talk.protocol->save(words);
  Listing other;
  other.forget();
  other.protocol->load(words);
  other.run(20ms);
  CHECK(commands(other) == Lines{"ABOR", "VOLT:MODE FIX"});
  other.forget();
  other.set("voltage", 13.5);  // what the other had sent last goes out again
  other.run(20ms);
  CHECK(commands(other).front() == "VOLT 13.50");
}
