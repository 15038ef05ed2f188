// SCPI against an instrument that is written down here line by line, over virtual time.

#include "drivers/protocol/scpi.hpp"

#include <algorithm>
#include <array>
#include <chrono>
#include <cmath>
#include <deque>
#include <functional>

#include "tests/protocol/scpi_talk.hpp"

using namespace trackrod;
using namespace trackrod::testing;
using namespace std::chrono_literals;

namespace {

const std::string quiet = R"({"kind": "scpi",
  "settings": {"voltage": {"write": "VOLT {}", "read_back": "VOLT?", "tolerance": 0.01, "digits": 2},
               "output": {"write": "OUTP {}", "read_back": "OUTP?", "digits": 0}}, "timeout": "50 ms"})";

using Lines = std::vector<std::string>;

}  // namespace

TEST_CASE("a value is written, read back, and the error queue is read after it") {
  Instrument instrument;
  Talk talk{quiet, std::ref(instrument)};
  talk.run(20ms);
  CHECK(talk.sent == Lines{"SYST:ERR?"});  // what was in the queue before we came
  talk.forget();
  talk.set("voltage", 13.5);
  CHECK_FALSE(talk.settled("voltage"));
  talk.run(3ms);
  CHECK_FALSE(talk.settled("voltage"));  // read back, but the error queue was not seen yet
  talk.run(20ms);
  CHECK(talk.sent == Lines{"VOLT 13.50", "VOLT?", "SYST:ERR?"});
  CHECK(talk.settled("voltage"));
  CHECK_FALSE(talk.settled("output"));
  talk.set("voltage", 13.504);  // the same to two digits
  talk.run(20ms);
  CHECK(talk.sent.size() == 3);
  CHECK(talk.settled("voltage"));
  CHECK(talk.messages.empty());
}

TEST_CASE("readings are asked for in their cycle and carry the stamp of the answer") {
  Instrument instrument;
  Talk talk{supply, std::ref(instrument)};
  talk.run(105ms);
  const auto values = talk.read("measured");
  REQUIRE(values.size() == 6);  // at 4 ms, 24 ms .. 104 ms
  CHECK(values[0] == 12.345);
  for (std::size_t i = 1; i < 6; ++i) CHECK(talk.sink.all[i].stamp.when - talk.sink.all[i - 1].stamp.when == 20ms);
}

TEST_CASE("an overload answer is no value") {
  Talk talk{supply, [](const std::string& line) { return line == "MEAS:VOLT?" ? "9.9E37\n" : "0,\"No error\"\n"; }};
  talk.run(10ms);
  REQUIRE(talk.read("measured").size() == 1);
  CHECK(std::isnan(talk.read("measured")[0]));
}

// Texts and numbers: SCPI-1999, list of errors and events.
TEST_CASE("the error queue is read until it is empty, and its codes are given") {
  Instrument instrument;
  Talk talk{quiet, std::ref(instrument)};
  talk.run(20ms);
  talk.forget();
  instrument.errors = {"-222,\"Data out of range\"", "-113,\"Undefined header\"", "201,\"of the maker's own\""};
  talk.set("voltage", 99.0);
  talk.run(20ms);
  CHECK(talk.messages == std::vector<std::int32_t>{-222, -113, 201});
  CHECK(talk.protocol->counters().refused == 3);
  CHECK(talk.sent == Lines{"VOLT 99.00", "VOLT?", "SYST:ERR?", "SYST:ERR?", "SYST:ERR?", "SYST:ERR?"});
  CHECK_FALSE(talk.settled("voltage"));
  talk.run(100ms);  // sent again after a pause, and then nothing is wrong
  CHECK(talk.settled("voltage"));
  CHECK(std::count(talk.sent.begin(), talk.sent.end(), "VOLT 99.00") == 2);
}

TEST_CASE("a value that is read back differently is not settled, told, and sent again") {
  Talk talk{quiet, [](const std::string& line) {
              return line == "VOLT?" ? "12.0\n" : line == "SYST:ERR?" ? "0,\"No error\"\n" : "";
            }};
  talk.set("voltage", 13.5);
  talk.run(500ms);
  CHECK_FALSE(talk.settled("voltage"));
  REQUIRE_FALSE(talk.messages.empty());
  CHECK(talk.messages[0] == scpi_read_back_differs);
  const auto tries = std::count(talk.sent.begin(), talk.sent.end(), "VOLT 13.50");
  CHECK(tries >= 5);
  CHECK(tries <= 11);  // no more than one try in each time-out
  CHECK(talk.protocol->counters().refused == static_cast<std::uint64_t>(talk.messages.size()));
  talk.set("voltage", 12.005);
  talk.run(50ms);
  CHECK(talk.settled("voltage"));  // within the tolerance
}

TEST_CASE("a silent instrument is asked again and again, and settles when it is back") {
  Instrument instrument;
  bool silent = true;
  Talk talk{quiet, [&](const std::string& line) { return silent ? std::string{} : instrument(line); }};
  talk.set("voltage", 13.5);
  talk.run(500ms);
  CHECK(talk.protocol->counters().timed_out == 9);
  CHECK(talk.messages == std::vector<std::int32_t>(9, scpi_no_answer));
  CHECK_FALSE(talk.settled("voltage"));
  silent = false;
  talk.run(100ms);
  CHECK(talk.settled("voltage"));
  CHECK(instrument.volts == "13.50");
}

TEST_CASE("an instrument that was switched off and on again is looked at anew") {
  Instrument instrument;
  bool silent = false;
  Talk talk{supply, [&](const std::string& line) { return silent ? std::string{} : instrument(line); }};
  talk.set("voltage", 13.5);
  talk.run(50ms);
  REQUIRE(talk.settled("voltage"));
  silent = true;
  talk.run(200ms);
  instrument.volts = "0.00";
  silent = false;
  talk.run(3ms);
  talk.run(200ms);
  CHECK(std::count(talk.messages.begin(), talk.messages.end(), static_cast<std::int32_t>(scpi_read_back_differs)) == 1);
  CHECK(talk.settled("voltage"));
  CHECK(instrument.volts == "13.50");
}

TEST_CASE("a late answer is never taken for the answer to a later question") {
  // The measured 99 comes 10 ms after its time-out, while another question is open.
  int asked = 0;
  Talk talk{supply, [&](const std::string& line) -> std::string {
              if (line == "MEAS:VOLT?") return ++asked == 1 ? "99.0\n" : "5.0\n";
              if (line == "VOLT?") return "13.50\n";
              return line == "SYST:ERR?" ? "0,\"No error\"\n" : "";
            }};
  talk.run(4ms);  // in step; then the answers take 60 ms, more than the time-out
  talk.delay = 60ms;
  talk.run(18ms);
  talk.set("voltage", 13.5);
  talk.run(1ms);
  talk.run(400ms);
  talk.delay = 1ms;
  talk.run(400ms);
  for (const double v : talk.read("measured")) CHECK(v != 13.5);
  CHECK(talk.settled("voltage"));
  CHECK(talk.read("measured").back() == 5.0);
}

TEST_CASE("a new value goes out at the latest with the time-out of the open question") {
  for (Duration silent_from{0}; silent_from < 30ms; silent_from += 1ms) {
    for (Duration set_at = 1ms; set_at < 130ms; set_at += 3ms) {
      CAPTURE(silent_from.count(), set_at.count());
      Instrument instrument;
      Talk talk{supply, {}};
      talk.answer = [&](const std::string& line) { return talk.now >= silent_from ? std::string{} : instrument(line); };
      talk.set("voltage", 13.5);
      talk.set("output", 1.0);
      talk.run(set_at);
      talk.set("output", 0.0);
      talk.run(300ms);
      const auto first = std::find(talk.sent.begin(), talk.sent.end(), "OUTP 0");
      REQUIRE(first != talk.sent.end());
      CHECK(talk.sent_at[static_cast<std::size_t>(first - talk.sent.begin())] <= set_at + 50ms);
    }
  }
}

TEST_CASE("values that change all the time starve neither read-back, error queue nor readings") {
  Instrument instrument;
  Talk talk{supply, std::ref(instrument)};
  for (int i = 0; i < 1000; ++i) {
    talk.set("voltage", 10.0 + 0.01 * (i % 100));
    talk.run(1ms);
  }
  CHECK(std::count(talk.sent.begin(), talk.sent.end(), "VOLT?") > 50);
  CHECK(std::count(talk.sent.begin(), talk.sent.end(), "SYST:ERR?") > 50);
  CHECK(talk.read("measured").size() >= 20);
  // One question after each write.
  for (std::size_t i = 1; i < talk.sent.size(); ++i)
    CHECK_FALSE((talk.sent[i - 1].rfind("VOLT ", 0) == 0 && talk.sent[i].rfind("VOLT ", 0) == 0));
}

TEST_CASE("of several values that change all the time, each is sent and each is read back") {
  Instrument instrument;
  Talk talk{quiet, std::ref(instrument)};
  for (int i = 0; i < 1000; ++i) {
    talk.set("voltage", 10.0 + 0.01 * (i % 100));
    talk.set("output", i / 5 % 2);
    talk.run(1ms);
  }
  for (const char* line : {"OUTP 0", "OUTP 1", "OUTP?", "VOLT?", "SYST:ERR?"}) {
    CAPTURE(line);
    CHECK(std::count(talk.sent.begin(), talk.sent.end(), line) > 50);
  }
}

TEST_CASE("values that are set together go out together") {
  Instrument instrument;
  Talk talk{quiet, std::ref(instrument)};
  talk.run(20ms);
  talk.forget();
  talk.set("voltage", 0.5);
  talk.set("output", 1.0);
  talk.run(20ms);
  CHECK(talk.sent == Lines{"VOLT 0.50", "OUTP 1", "VOLT?", "SYST:ERR?", "OUTP?"});
  CHECK(talk.settled("voltage"));
  CHECK(talk.settled("output"));
}

TEST_CASE("nothing is set on the wrong instrument") {
  std::string identity = "maker,scope,0,1.0";
  Instrument instrument;
  auto text = quiet;
  text.insert(1, R"("identify": "supply-30",)");
  Talk talk{text, [&](const std::string& line) { return line == "*IDN?" ? identity + "\n" : instrument(line); }};
  talk.set("voltage", 13.5);
  talk.run(300ms);
  CHECK(instrument.volts == "0.00");
  CHECK(talk.messages.front() == scpi_wrong_instrument);
  CHECK(talk.protocol->counters().refused >= 3);
  identity = "maker,supply-30,0,1.0";
  talk.run(100ms);
  CHECK(talk.settled("voltage"));
}

TEST_CASE("a late number or error is not taken for the name of the instrument") {
  auto text = quiet;
  text.insert(1, R"("identify": "supply",)");
  const auto p = make(text);
  KeptFields sink;
  CHECK(as_text(p->due(at(0ms))) == "SYST:ERR?\n");
  CHECK(p->on_bytes(bytes("0,\"No error\"\n"), stamp(1ms), sink));
  CHECK(as_text(p->due(at(1ms))) == "*IDN?\n");
  CHECK_FALSE(p->on_bytes(bytes("13.5\n0,\"No error\"\n"), stamp(2ms), sink));
  CHECK(p->on_bytes(bytes("maker,supply,0,1\n"), stamp(3ms), sink));
  CHECK(p->take_message() == 0);
}

TEST_CASE("a value that is changed while the one before is read back is no disagreement") {
  Instrument instrument;
  Talk talk{quiet, std::ref(instrument)};
  talk.run(20ms);
  talk.set("voltage", 5.0);
  talk.run(1ms);
  REQUIRE(talk.sent.back() == "VOLT?");
  talk.set("voltage", 9.0);
  talk.run(50ms);
  CHECK(talk.messages.empty());
  CHECK(instrument.volts == "9.00");
  CHECK(talk.settled("voltage"));
}

TEST_CASE("after a take-over the safe value goes out first, without asking who is there again") {
  Instrument instrument;
  auto text = quiet;
  text.insert(1, R"("identify": "supply",)");
  const auto answer = [&](const std::string& line) {
    return line == "*IDN?" ? std::string{"maker,supply,0,1\n"} : instrument(line);
  };
  Talk loop{text, answer};
  loop.set("voltage", 13.5);
  loop.run(50ms);
  REQUIRE(loop.settled("voltage"));
  std::array<std::uint32_t, 24> memory{};
  loop.protocol->save(memory);

  Talk keeper{text, answer};
  keeper.protocol->load(memory);
  CHECK(as_text(keeper.protocol->terminator()) == ",@!\n");
  // The rest of an answer to the dead process is dropped.
  keeper.protocol->on_bytes(bytes(".50\n"), stamp(0ms), keeper.sink);
  keeper.set("voltage", 0.0);
  keeper.run(30ms);
  REQUIRE(keeper.sent.size() >= 3);
  CHECK(keeper.sent[0] == "VOLT 0.00");
  CHECK(std::count(keeper.sent.begin(), keeper.sent.end(), "*IDN?") == 0);
  CHECK(keeper.settled("voltage"));
}

TEST_CASE("answers may come in pieces, with any line end, and garbage is dropped") {
  const auto p = make(supply);
  KeptFields sink;
  CHECK(as_text(p->due(at(0ms))) == "SYST:ERR?\n");
  for (const char c : std::string{"0,\"No error\"\r"}) p->on_bytes(bytes(std::string(1, c)), stamp(1ms), sink);
  CHECK(as_text(p->due(at(1ms))) == "*IDN?\n");
  CHECK(p->on_bytes(bytes("maker,model,0,1\n\r"), stamp(1ms), sink));
  CHECK(as_text(p->due(at(1ms))) == "MEAS:VOLT?\n");
  CHECK_FALSE(p->on_bytes(bytes("\n" + std::string(5000, 'x') + "\n"), stamp(2ms), sink));  // much too long
  CHECK_FALSE(p->on_bytes(bytes("volts\n"), stamp(2ms), sink));
  CHECK(p->counters().bad_length == 2);
  CHECK(p->on_bytes(bytes("12.5\r\n"), stamp(3ms), sink));
  REQUIRE(sink.all.size() == 1);
  CHECK(sink.all[0].value == 12.5);
  CHECK_FALSE(p->on_bytes(bytes("12.5\n"), stamp(4ms), sink));  // nobody asked
  CHECK(sink.all.size() == 1);
}

TEST_CASE("what is not a number is never sent") {
  Talk talk{quiet, Instrument{}};
  talk.set("voltage", std::nan(""));
  talk.set("voltage", INFINITY);
  talk.run(30ms);
  CHECK(talk.sent == Lines{"SYST:ERR?"});
  CHECK(talk.protocol->counters().clamped == 2);
}

TEST_CASE("an instrument that never runs out of errors does not hold up the readings") {
  Talk talk{supply, [](const std::string& line) { return line == "MEAS:VOLT?" ? "1.0\n" : "-310,\"System error\"\n"; }};
  talk.run(1000ms);
  CHECK(talk.read("measured").size() >= 20);
}
