// Modbus against printed messages. Sources: MODBUS Application Protocol V1.1b3, sections 6 and 7 (requests and answers
// of each function), and worked examples with checksum in public use; the checksum itself is the catalogue's
// CRC-16/MODBUS. Address 11 (hexadecimal) unless another stands there.

#include <string>
#include <vector>

#include "drivers/protocol/modbus_carrier.hpp"
#include "tests/catch.hpp"

using namespace trackrod;

namespace {

std::vector<std::byte> hex(const std::string& text) {
  std::vector<std::byte> bytes;
  for (std::size_t i = 0; i + 1 < text.size(); i += text[i + 2] == ' ' ? 3 : 2)
    bytes.push_back(static_cast<std::byte>(std::stoi(text.substr(i, 2), nullptr, 16)));
  return bytes;
}

std::vector<std::byte> rtu(unsigned unit, std::span<const std::byte> pdu) {
  std::array<std::byte, longest_modbus> room;
  const auto all = carry_modbus(ModbusTransport::rtu, unit, {0, pdu}, room);
  return {all.begin(), all.end()};
}

struct Example {
  const char* name;
  std::string request, answer;  // with checksum
};
const std::vector<Example>& examples() {
  static const std::vector<Example> all{
      {"read coils", "11 01 00 13 00 25 0E 84", "11 01 05 CD 6B B2 0E 1B 45 E6"},
      {"read discrete inputs", "11 02 00 C4 00 16 BA A9", "11 02 03 AC DB 35 20 18"},
      {"read holding registers", "11 03 00 6B 00 03 76 87", "11 03 06 AE 41 56 52 43 40 49 AD"},
      {"read input registers", "11 04 00 08 00 01 B2 98", "11 04 02 00 0A F8 F4"},
      {"write single coil", "11 05 00 AC FF 00 4E 8B", "11 05 00 AC FF 00 4E 8B"},
      {"write single register", "11 06 00 01 00 03 9A 9B", "11 06 00 01 00 03 9A 9B"},
      {"write multiple coils", "11 0F 00 13 00 0A 02 CD 01 BF 0B", "11 0F 00 13 00 0A 26 99"},
      {"write multiple registers", "11 10 00 01 00 02 04 00 0A 01 02 C6 F0", "11 10 00 01 00 02 12 98"}};
  return all;
}

std::span<const std::byte> pdu_of(const std::vector<std::byte>& message) {
  return std::span{message}.subspan(1, message.size() - 3);
}

}  // namespace

TEST_CASE("requests are made byte for byte as printed") {
  ModbusPdu pdu;
  make_read(pdu, ModbusTable::coil, 0x13, 0x25);
  CHECK(rtu(0x11, pdu.bytes()) == hex(examples()[0].request));
  make_read(pdu, ModbusTable::discrete, 0xC4, 0x16);
  CHECK(rtu(0x11, pdu.bytes()) == hex(examples()[1].request));
  make_read(pdu, ModbusTable::holding, 0x6B, 3);
  CHECK(rtu(0x11, pdu.bytes()) == hex(examples()[2].request));
  make_read(pdu, ModbusTable::input, 8, 1);
  CHECK(rtu(0x11, pdu.bytes()) == hex(examples()[3].request));
  const std::uint16_t on[]{1}, three[]{3}, two_words[]{0x000A, 0x0102};
  make_write(pdu, ModbusTable::coil, 0xAC, on, false);
  CHECK(rtu(0x11, pdu.bytes()) == hex(examples()[4].request));
  make_write(pdu, ModbusTable::holding, 1, three, false);
  CHECK(rtu(0x11, pdu.bytes()) == hex(examples()[5].request));
  make_write(pdu, ModbusTable::holding, 1, two_words, false);
  CHECK(rtu(0x11, pdu.bytes()) == hex(examples()[7].request));
}

TEST_CASE("each printed answer is good to its own request and to no other") {
  for (const auto& asked : examples())
    for (const auto& answer : examples()) {
      CAPTURE(asked.name, answer.name);
      const auto request = hex(asked.request), reply = hex(answer.answer);
      CHECK((judge_answer(pdu_of(request), pdu_of(reply)) == ModbusAnswer::good) == (&asked == &answer));
    }
}

TEST_CASE("printed messages are found in a stream, with their checksums") {
  for (const auto side : {ModbusSide::request, ModbusSide::answer}) {
    ModbusReceiver receiver{ModbusTransport::rtu, 0x11, side, std::chrono::milliseconds{2}};
    for (const auto& e : examples()) {
      CAPTURE(e.name);
      const auto message = hex(side == ModbusSide::request ? e.request : e.answer);
      CHECK(receiver.take(message, {}).empty());
      const auto found = receiver.next();
      REQUIRE(found);
      CHECK(std::vector(found->pdu.begin(), found->pdu.end()) ==
            std::vector(pdu_of(message).begin(), pdu_of(message).end()));
      CHECK_FALSE(receiver.next());
    }
    CHECK(receiver.bad_checksums() == 0);
  }
}

TEST_CASE("printed refusals are read in words") {
  const auto request = hex("0A 01 04 A1 00 01 AC 63"), answer = hex("0A 81 02 B0 53");
  CHECK(judge_answer(pdu_of(request), pdu_of(answer)) == ModbusAnswer::refused);
  ModbusReceiver receiver{ModbusTransport::rtu, 0x0A, ModbusSide::answer, std::chrono::milliseconds{2}};
  receiver.take(answer, {});
  REQUIRE(receiver.next());
  const auto other = hex("01 03 00 00 00 02 C4 0B"), refusal = hex("01 83 02 C0 F1");
  CHECK(judge_answer(pdu_of(other), pdu_of(refusal)) == ModbusAnswer::refused);
  CHECK(judge_answer(pdu_of(other), pdu_of(answer)) == ModbusAnswer::not_to_this);
  CHECK(modbus_exception_name(2) == "illegal data address");
  CHECK(modbus_function_name(3) == "read holding registers");
}

// Messaging on TCP/IP Implementation Guide V1.0b, section 3.1.3: transaction, protocol 0, length, unit.
TEST_CASE("on TCP a header stands in front and no checksum behind") {
  ModbusPdu pdu;
  make_read(pdu, ModbusTable::holding, 0x6B, 3);
  std::array<std::byte, longest_modbus> room;
  const auto all = carry_modbus(ModbusTransport::tcp, 0x11, {0x1501, pdu.bytes()}, room);
  CHECK(std::vector(all.begin(), all.end()) == hex("15 01 00 00 00 06 11 03 00 6B 00 03"));
}
