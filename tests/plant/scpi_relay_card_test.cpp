// The simulated relay card's remote control, after SCPI-1999: channel lists (volume 1), ROUTe:CLOSe, :OPEN and
// MEASure:VOLTage? (volume 2), the error codes of its chapter 21.8, and that all relays are open after *RST; all from
// memory. What is common to SCPI instruments is tested with the supply.

#include "fixtures/simulator/scpi_relay_card.hpp"

#include <array>
#include <random>

#include "fixtures/simulator/scpi_channels.hpp"
#include "tests/catch.hpp"
#include "tests/plant/said.hpp"

using namespace trackrod;

namespace {

struct Card {
  ScpiRelayCard card{{101, 102, 103, 201, 202}, {100, 200}};
  std::string said(const std::string& text) { return test::said(card, text); }
};

}  // namespace

TEST_CASE("a channel list is of numbers and ranges, which may run down") {
  using List = std::vector<int>;
  CHECK(read_channels("101") == List{101});
  CHECK(read_channels("101,103:105") == List{101, 103, 104, 105});
  CHECK(read_channels(" 3 : 1 , 7 ") == List{3, 2, 1, 7});
  for (const auto* bad : {"", ",", "1,", "1:", ":2", "1:2:3", "a", "1 2", "-1", "1!2", "10000", "99999999999"})
    CHECK_FALSE(read_channels(bad));
}

TEST_CASE("relays are closed and opened by list, and each answers for itself") {
  Card rig;
  CHECK(rig.said("ROUT:CLOS? (@101:103)\n") == "0,0,0\n");
  CHECK(rig.said("ROUTe:CLOSe (@101,201)\n") == "");
  CHECK(rig.said("rout:clos? (@101,102,201,202)\n") == "1,0,1,0\n");
  CHECK(rig.card.closed(201));
  CHECK(rig.said("ROUT:OPEN (@101:102);CLOS? (@103:101)\n") == "0,0,0\n");  // the path of the header before
  CHECK(rig.said("ROUT:CLOS? (@201)\n") == "1\n");
  rig.said("ROUT:OPEN:ALL\n");
  CHECK(rig.said("ROUT:CLOS? (@201)\n") == "0\n");
  rig.said("ROUT:CLOS (@101:103)\n*RST\n");
  CHECK(rig.said("ROUT:CLOS? (@101:103)\n") == "0,0,0\n");
  CHECK(rig.said("SYST:ERR?\n") == "0,\"No error\"\n");
}

TEST_CASE("voltmeters answer for the channels that are asked, in their order") {
  Card rig;
  rig.card.show(100, 4.9876);
  rig.card.show(200, -0.25);
  CHECK(rig.said("MEAS:VOLT? (@100)\n") == "4.9876\n");
  CHECK(rig.said("MEASure:SCALar:VOLTage:DC? (@200,100)\n") == "-0.2500,4.9876\n");
}

TEST_CASE("a wrong list leaves its error in the queue, and every relay where it was") {
  struct Row {
    const char* command;
    const char* error;
  };
  const auto row = GENERATE(
      Row{"ROUT:CLOS", "-109,\"Missing parameter\""}, Row{"ROUT:CLOS 101", "-104,\"Data type error\""},
      Row{"ROUT:CLOS (101)", "-171,\"Invalid expression\""}, Row{"ROUT:CLOS (@101", "-171,\"Invalid expression\""},
      Row{"ROUT:CLOS (@)", "-171,\"Invalid expression\""}, Row{"ROUT:CLOS (@101,)", "-171,\"Invalid expression\""},
      Row{"ROUT:CLOS (@101,104)", "-222,\"Data out of range\""},
      Row{"ROUT:OPEN (@102:201)", "-222,\"Data out of range\""}, Row{"ROUT:CLOS? (@100)", "-222,\"Data out of range\""},
      Row{"MEAS:VOLT? (@101)", "-222,\"Data out of range\""}, Row{"MEAS:VOLT?", "-109,\"Missing parameter\""},
      Row{"ROUT:OPEN:ALL (@101)", "-108,\"Parameter not allowed\""},
      Row{"ROUT:CLOS(@101)", "-113,\"Undefined header\""}, Row{"ROUT:OPEN? (@101)", "-113,\"Undefined header\""});
  CAPTURE(row.command);
  Card rig;
  rig.said("ROUT:CLOS (@102)\n");
  CHECK(rig.said(std::string{row.command} + "\n") == "");
  CHECK(rig.said("ROUT:CLOS? (@101,102,103,201,202)\n") == "0,1,0,0,0\n");
  CHECK(rig.said("SYST:ERR?\n") == std::string{row.error} + "\n");
  CHECK(rig.said("SYST:ERR?\n") == "0,\"No error\"\n");
}

TEST_CASE("a line cut at any byte and marked as cut switches nothing") {
  const std::string line = "ROUT:CLOS (@101:103,201)\n";
  for (std::size_t cut = 0; cut + 1 <= line.size() - 1; ++cut) {
    CAPTURE(cut);
    Card rig;
    rig.said(line.substr(0, cut) + ",@!\n");
    CHECK(rig.said("ROUT:CLOS? (@101,102,103,201,202)\n") == "0,0,0,0,0\n");
  }
}

TEST_CASE("whatever comes, the card goes on answering") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937 random{seed};
  const std::string alphabet = "ROUTCLOSPENMEASVOLT?:;,. (@)0123\n\r\tall\xff";
  Card rig;
  for (int i = 0; i < 3000; ++i) {
    std::string text;
    for (auto n = random() % 40; n > 0; --n) text += alphabet[random() % alphabet.size()];
    CAPTURE(text);
    rig.said(text + "\n");
    REQUIRE(rig.said("*OPC?\n") == "1\n");
  }
}
