// The simulated supply's remote control, after IEEE 488.2 and SCPI-1999 (error codes and texts of volume 2,
// chapter 21.8; which bit of the event status register an error class sets, and the rules for header paths: from
// memory).

#include "fixtures/simulator/scpi_supply.hpp"

#include <array>
#include <random>

#include "drivers/protocol/scpi.hpp"
#include "fixtures/simulator/scpi_header.hpp"
#include "tests/catch.hpp"
#include "tests/plant/said.hpp"

using namespace trackrod;
using trackrod::test::said;

TEST_CASE("a header fits in its short and its long form, in any case, with optional parts or without") {
  const ScpiHeader voltage{"[SOURce]:VOLTage[:LEVel][:IMMediate][:AMPLitude]"};
  for (const auto* good :
       {"VOLT", "volt", "VOLTAGE", "SOUR:VOLT", "source:voltage:level", "VOLT:IMM", "SOUR:VOLT:LEV:IMM:AMPL"})
    CHECK(voltage.fits(good));
  for (const auto* bad : {"", "VOL", "VOLTA", "VOLT?", "VOLT:", "SOUR", "VOLT:AMPL:LEV", "VOLT:LEV:FOO", "CURR", ":"})
    CHECK_FALSE(voltage.fits(bad));
  CHECK(ScpiHeader{"*IDN?"}.fits("*idn?"));
  CHECK_FALSE(ScpiHeader{"*IDN?"}.fits("*IDN"));
}

TEST_CASE("the identity has four fields") {
  ScpiSupply supply{20, true};
  const auto answer = said(supply, "*IDN?\n");
  CHECK(std::count(answer.begin(), answer.end(), ',') == 3);
  CHECK(answer.ends_with("\n"));
}

TEST_CASE("voltage and output are set, answered, and reset") {
  ScpiSupply supply{20, true};
  CHECK(said(supply, "VOLT 13.5\nOUTP ON\n") == "");
  CHECK(supply.voltage() == 13.5);
  CHECK(supply.output());
  CHECK(said(supply, "VOLT?\n") == "13.5000\n");
  CHECK(said(supply, "OUTP?\r\n") == "1\n");
  CHECK(said(supply, "volt? max;:volt? min\n") == "20.0000;0.0000\n");
  CHECK(said(supply, "OUTP 0;OUTP?\n") == "0\n");
  CHECK(said(supply, "OUTP 100;OUTP?\n") == "1\n");
  CHECK(said(supply, "SOUR:VOLT:LEV:IMM:AMPL 500 mV;AMPL?\n") == "0.5000\n");
  CHECK(said(supply, "VOLT 1.2E1;:VOLT?\n") == "12.0000\n");
  CHECK(said(supply, "VOLT MAX;:VOLT?\n") == "20.0000\n");
  CHECK(said(supply, "*RST;*OPC?\n") == "1\n");
  CHECK(supply.voltage() == 0.0);
  CHECK_FALSE(supply.output());
  CHECK(said(supply, "SYST:ERR?\n") == "0,\"No error\"\n");
}

TEST_CASE("the meters are read; a header without a leading colon goes on in the path of the one before") {
  ScpiSupply supply{20, true};
  supply.show(13.4321, 2.5);
  CHECK(said(supply, "MEAS:VOLT?;CURR?\n") == "13.4321;2.5000\n");
  CHECK(said(supply, "MEASure:SCALar:VOLTage:DC?\n") == "13.4321\n");
  CHECK(said(supply, "MEAS:VOLT?;*OPC?;CURR?\n") == "13.4321;1;2.5000\n");
  CHECK(said(supply, "MEAS:VOLT?;OUTP?\n") == "13.4321\n");
  CHECK(said(supply, "SYST:ERR?\n") == "-113,\"Undefined header\"\n");
}

TEST_CASE("each wrong command leaves its error in the queue, and the setting as it was") {
  struct Row {
    const char* command;
    const char* error;
  };
  const auto row =
      GENERATE(Row{"VOLTS 5", "-113,\"Undefined header\""}, Row{"OUTP:STAT:NOW ON", "-113,\"Undefined header\""},
               Row{"VOLT", "-109,\"Missing parameter\""}, Row{"OUTP", "-109,\"Missing parameter\""},
               Row{"VOLT 21", "-222,\"Data out of range\""}, Row{"VOLT -1", "-222,\"Data out of range\""},
               Row{"VOLT 1E999", "-222,\"Data out of range\""}, Row{"VOLT twelve", "-104,\"Data type error\""},
               Row{"VOLT inf", "-104,\"Data type error\""}, Row{"VOLT 1.2.3", "-121,\"Invalid character in number\""},
               Row{"VOLT 5 A", "-131,\"Invalid suffix\""}, Row{"VOLT 5 GV", "-131,\"Invalid suffix\""},
               Row{"OUTP 1 V", "-138,\"Suffix not allowed\""}, Row{"VOLT 5,6", "-108,\"Parameter not allowed\""},
               Row{"*IDN? 1", "-108,\"Parameter not allowed\""}, Row{"VOLT 5;;OUTP ON", "-102,\"Syntax error\""});
  CAPTURE(row.command);
  ScpiSupply supply{20, true};
  said(supply, "VOLT 5\n");
  CHECK(said(supply, std::string{row.command} + "\n") == "");
  CHECK(supply.voltage() == 5.0);
  CHECK(said(supply, "SYST:ERR?\n") == std::string{row.error} + "\n");
  CHECK(said(supply, "SYST:ERR?\n") == "0,\"No error\"\n");
}

TEST_CASE("errors queue up in order, the last place tells of an overflow, and *CLS empties the queue") {
  ScpiSupply supply{20, true};
  said(supply, "FOO\nVOLT\n");
  CHECK(said(supply, "SYST:ERR?;ERR?\n") == "-113,\"Undefined header\";-109,\"Missing parameter\"\n");
  for (int i = 0; i < 40; ++i) said(supply, "FOO\n");
  std::string last, answer;
  while ((answer = said(supply, "SYST:ERR:NEXT?\n")) != "0,\"No error\"\n") last = answer;
  CHECK(last == "-350,\"Queue overflow\"\n");
  said(supply, "FOO\n*CLS\n");
  CHECK(said(supply, "SYST:ERR?\n") == "0,\"No error\"\n");
}

TEST_CASE("the event status register tells error classes and is cleared by reading; the status byte sums up") {
  ScpiSupply supply{20, true};
  CHECK(said(supply, "*ESR?\n") == "128\n");  // power on
  CHECK(said(supply, "*ESR?\n") == "0\n");
  said(supply, "FOO\n");
  CHECK(said(supply, "*ESR?\n") == "32\n");  // command error
  said(supply, "VOLT 99;*OPC\n");
  CHECK(said(supply, "*ESR?\n") == "17\n");  // execution error, operation complete
  said(supply, "*CLS;*ESE 32;*SRE 32\n");
  CHECK(said(supply, "*STB?\n") == "0\n");
  said(supply, "FOO\n");
  CHECK(said(supply, "*STB?\n") == "100\n");  // error queue 4, event summary 32, service 64
  CHECK(said(supply, "*ESE?;*SRE?\n") == "32;32\n");
}

TEST_CASE("a line may come in pieces; one that is too long is dropped whole; garbage costs one line") {
  ScpiSupply supply{20, true};
  CHECK(said(supply, "VO") == "");
  CHECK(said(supply, "LT 7;:VOLT?") == "");
  CHECK(said(supply, "\n") == "7.0000\n");
  CHECK(said(supply, std::string(5000, 'x') + "\nVOLT?\n") == "7.0000\n");
  CHECK(said(supply, "SYST:ERR?\n") == "-363,\"Input buffer overrun\"\n");
  // What a controller leaves behind that died in mid-line, ended by the next one.
  CHECK(said(supply, "OUT\nOUTP 0\nOUTP?\n") == "0\n");
  CHECK(said(supply, "SYST:ERR?\n") == "-113,\"Undefined header\"\n");
  CHECK(said(supply, "\n\n\r\n") == "");
}

TEST_CASE("whatever comes, the setting stays in range and the next good line is answered") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937 random{seed};
  const std::string alphabet = "VOLTOUTPMEASYSERR*?:;,. 0123456789+-eE\n\r\tvolt\xff";
  ScpiSupply supply{20, true};
  for (int i = 0; i < 3000; ++i) {
    std::string text;
    for (auto n = random() % 40; n > 0; --n) text += alphabet[random() % alphabet.size()];
    CAPTURE(text);
    said(supply, text);
    REQUIRE(supply.voltage() >= 0.0);
    REQUIRE(supply.voltage() <= 20.0);
    said(supply, "\n");
    REQUIRE(said(supply, "*OPC?\n") == "1\n");
  }
}

// Whatever a process leaves half sent when it dies, the next one makes the instrument refuse it, and then sets its own.
TEST_CASE("a line cut at any byte is refused, changes nothing, and the next value arrives") {
  ScpiSettings settings;
  settings.settings.push_back({{"voltage", {}}, {{"VOLT {}", {}}, Located<std::string>{"VOLT?", {}}, {}, 3}});
  settings.settings.push_back({{"output", {}}, {{"OUTP {}", {}}, Located<std::string>{"OUTP?", {}}, {}, 0}});
  settings.readings.push_back({{"measured", {}}, {{"MEAS:VOLT?", {}}, std::chrono::milliseconds{1}, {}}});
  class : public FieldSink {
    void field(FieldIndex, double, Stamp) noexcept override {}
  } nowhere;
  const auto bytes = [](const std::string& text) { return std::as_bytes(std::span{text}); };
  for (const std::string line : {"VOLT 13.500\n", "OUTP 1\n", "VOLT?\n", "SYST:ERR?\n", "*IDN?\n", "MEAS:VOLT?\n"}) {
    for (std::size_t cut = 0; cut <= line.size(); ++cut) {
      CAPTURE(line, cut);
      ScpiSupply supply{20, true};
      said(supply, "VOLT 5\n");
      supply.take(bytes(line.substr(0, cut)));
      Scpi keeper{settings};
      keeper.load(std::array<std::uint32_t, 24>{1});
      supply.take(keeper.terminator());
      if (cut < line.size()) {
        CHECK(supply.voltage() == 5.0);
        CHECK_FALSE(supply.output());
      }
      keeper.set(0, 0.5);
      keeper.set(1, 0.0);
      BenchTime now{std::chrono::milliseconds{1}};
      for (int i = 0; i < 20; ++i, now += std::chrono::milliseconds{1})
        for (auto out = keeper.due(now); !out.empty(); out = keeper.due(now)) {
          supply.take(out);
          keeper.on_bytes(bytes(supply.take_answers()), {now, StampedBy::harness, {}}, nowhere);
        }
      CHECK(supply.voltage() == 0.5);
      CHECK(keeper.settled(0));
      CHECK(keeper.settled(1));
      CHECK(keeper.take_message() == 0);  // the command error was our own doing
      CHECK(said(supply, "SYST:ERR?\n") == "0,\"No error\"\n");
    }
  }
}

TEST_CASE("a line that is only ended, and not cut off, is carried out as it stands") {
  ScpiSupply supply{20, true};
  said(supply, "VOLT 13");
  said(supply, "\n");
  CHECK(supply.voltage() == 13.0);  // of "VOLT 13.5": why the cut-off is needed
}

TEST_CASE("an invalid character anywhere makes the supply refuse the whole message") {
  for (const char* line : {"VOLT 7!", "VOLT 7,@!", "VO!LT 7", "VOLT 7;OUTP 1!", "!"}) {
    CAPTURE(line);
    ScpiSupply supply{20, true};
    said(supply, std::string{line} + "\n");
    CHECK(supply.voltage() == 0.0);
    CHECK(said(supply, "SYST:ERR?\n") == "-101,\"Invalid character\"\n");
  }
}
