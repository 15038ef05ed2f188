// CANopen against bytes printed in published documents and in independent open implementations.

#include <string>
#include <vector>

#include "drivers/protocol/canopen_402.hpp"
#include "drivers/protocol/canopen_messages.hpp"
#include "drivers/protocol/canopen_pdo.hpp"
#include "drivers/protocol/canopen_sdo.hpp"
#include "fixtures/simulator/canopen_node.hpp"
#include "tests/catch.hpp"

using namespace trackrod;
using namespace std::chrono_literals;

namespace {

using Data = std::vector<int>;

std::vector<std::byte> bytes(const Data& values) {
  std::vector<std::byte> b;
  for (const int v : values) b.push_back(static_cast<std::byte>(v));
  return b;
}

Data sent(SdoClient& sdo) {
  Data all;
  for (const auto b : sdo.due(BenchTime{1ms})) all.push_back(std::to_integer<int>(b));
  return all;
}

std::string text(std::span<const std::byte> value) {
  return {reinterpret_cast<const char*>(value.data()), value.size()};
}

}  // namespace

// Source: test data of an open Python implementation of CiA 301 (canopen-python, test_sdo.py): object 1018:01.
TEST_CASE("an expedited read asks and is answered as published") {
  SdoClient sdo{100ms};
  sdo.read({0x1018, 1});
  CHECK(sent(sdo) == Data{0x40, 0x18, 0x10, 0x01, 0x00, 0x00, 0x00, 0x00});
  CHECK(sdo.take(bytes({0x43, 0x18, 0x10, 0x01, 0x04, 0x00, 0x00, 0x00})));
  CHECK(sdo.take_result().kind == SdoResult::Kind::read);
  CHECK(read_little(sdo.value()) == 4);
  CHECK(sdo.value().size() == 4);
  sdo.read({0x1400, 2});
  CHECK(sent(sdo) == Data{0x40, 0x00, 0x14, 0x02, 0x00, 0x00, 0x00, 0x00});
  CHECK(sdo.take(bytes({0x4F, 0x00, 0x14, 0x02, 0xFE, 0x00, 0x00, 0x00})));
  CHECK(sdo.value().size() == 1);
  CHECK(read_little(sdo.value()) == 0xFE);
}

// The same source: heartbeat of 4000 ms into 1017:00.
TEST_CASE("an expedited write is as published") {
  SdoClient sdo{100ms};
  sdo.write({0x1017, 0}, bytes({0xA0, 0x0F}));
  CHECK(sent(sdo) == Data{0x2B, 0x17, 0x10, 0x00, 0xA0, 0x0F, 0x00, 0x00});
  CHECK(sdo.take(bytes({0x60, 0x17, 0x10, 0x00, 0x00, 0x00, 0x00, 0x00})));
  CHECK(sdo.take_result().kind == SdoResult::Kind::written);
}

// Command bytes of writes and read answers by size: CiA 301, (specifier << 5) + ((4 - size) << 2) + 3.
TEST_CASE("the command bytes of expedited transfers tell their size") {
  const int writes[] = {0x2F, 0x2B, 0x27, 0x23}, answers[] = {0x4F, 0x4B, 0x47, 0x43};
  for (std::size_t size = 1; size <= 4; ++size) {
    SdoClient sdo{100ms};
    sdo.write({0x2000, 0}, std::vector<std::byte>(size));
    CHECK(sent(sdo)[0] == writes[size - 1]);
    sdo.take(bytes({0x60, 0x00, 0x20, 0x00, 0, 0, 0, 0}));
    sdo.take_result();
    sdo.read({0x2000, 0});
    sent(sdo);
    CHECK(sdo.take(bytes({answers[size - 1], 0x00, 0x20, 0x00, 1, 2, 3, 4})));
    CHECK(sdo.value().size() == size);
  }
  SdoClient sdo{100ms};
  sdo.read({0x2000, 0});
  sent(sdo);
  CHECK(sdo.take(bytes({0x42, 0x00, 0x20, 0x00, 1, 2, 3, 4})));  // no size given
  CHECK(sdo.value().size() == 4);
}

// The same source: device name, 26 characters in four segments.
TEST_CASE("a segmented read gathers the published text") {
  SdoClient sdo{100ms};
  sdo.read({0x1008, 0});
  CHECK(sent(sdo) == Data{0x40, 0x08, 0x10, 0, 0, 0, 0, 0});
  CHECK(sdo.take(bytes({0x41, 0x08, 0x10, 0x00, 0x1A, 0x00, 0x00, 0x00})));
  const std::vector<std::pair<int, Data>> segments{{0x60, {0x00, 0x54, 0x69, 0x6E, 0x79, 0x20, 0x4E, 0x6F}},
                                                   {0x70, {0x10, 0x64, 0x65, 0x20, 0x2D, 0x20, 0x4D, 0x65}},
                                                   {0x60, {0x00, 0x67, 0x61, 0x20, 0x44, 0x6F, 0x6D, 0x61}},
                                                   {0x70, {0x15, 0x69, 0x6E, 0x73, 0x20, 0x21, 0x00, 0x00}}};
  for (const auto& [request, answer] : segments) {
    CHECK(sent(sdo) == Data{request, 0, 0, 0, 0, 0, 0, 0});
    CHECK(sdo.take(bytes(answer)));
  }
  CHECK(sdo.take_result().kind == SdoResult::Kind::read);
  CHECK(text(sdo.value()) == "Tiny Node - Mega Domains !");
}

// The same transfers from the other end. 1400:02 is FEh there.
TEST_CASE("the simulated device answers as published") {
  CanopenNode node{2, 0, "Tiny Node - Mega Domains !"};
  node.objects().set({0x1018, 1}, 4);
  node.objects().set({0x1400, 2}, 0xFE);
  node.store();
  node.power_on();
  node.due(BenchTime{1ms});  // the boot-up message
  const std::vector<std::pair<Data, Data>> talk{
      {{0x40, 0x18, 0x10, 0x01, 0, 0, 0, 0}, {0x43, 0x18, 0x10, 0x01, 0x04, 0x00, 0x00, 0x00}},
      {{0x40, 0x00, 0x14, 0x02, 0, 0, 0, 0}, {0x4F, 0x00, 0x14, 0x02, 0xFE, 0x00, 0x00, 0x00}},
      {{0x2B, 0x17, 0x10, 0x00, 0xA0, 0x0F, 0, 0}, {0x60, 0x17, 0x10, 0x00, 0x00, 0x00, 0x00, 0x00}},
      {{0x40, 0x08, 0x10, 0x00, 0, 0, 0, 0}, {0x41, 0x08, 0x10, 0x00, 0x1A, 0x00, 0x00, 0x00}},
      {{0x60, 0, 0, 0, 0, 0, 0, 0}, {0x00, 0x54, 0x69, 0x6E, 0x79, 0x20, 0x4E, 0x6F}},
      {{0x70, 0, 0, 0, 0, 0, 0, 0}, {0x10, 0x64, 0x65, 0x20, 0x2D, 0x20, 0x4D, 0x65}},
      {{0x60, 0, 0, 0, 0, 0, 0, 0}, {0x00, 0x67, 0x61, 0x20, 0x44, 0x6F, 0x6D, 0x61}},
      {{0x70, 0, 0, 0, 0, 0, 0, 0}, {0x15, 0x69, 0x6E, 0x73, 0x20, 0x21, 0x00, 0x00}}};
  for (const auto& [request, answer] : talk) {
    node.take(0x602, bytes(request), BenchTime{2ms});
    Data got;
    for (auto f = node.due(BenchTime{2ms}); f; f = node.due(BenchTime{2ms}))
      if (f->id == 0x582)
        for (const auto b : f->data) got.push_back(std::to_integer<int>(b));
    CHECK(got == answer);
  }
}

// The same source (test_emcy.py), and the classes of CiA 301.
TEST_CASE("emergencies are told in words") {
  const auto said = [](std::uint32_t reg, std::uint32_t code) {
    return describe_canopen(canopen_message(CanopenMessage::emergency, reg << 16 | code));
  };
  CHECK(said(0x02, 0x2001) == "emergency 2001h: current (error register 02h)");
  CHECK(said(0x01, 0x9010) == "emergency 9010h: external error (error register 01h)");
  CHECK(said(0x00, 0x0000) == "emergency 0000h: error reset or no error (error register 00h)");
  CHECK(said(0x11, 0x8130) == "emergency 8130h: heartbeat or life guard (error register 11h)");
  CHECK(said(0x05, 0x3120) == "emergency 3120h: input voltage too low (error register 05h)");
  CHECK(said(0x81, 0xFF01) == "emergency FF01h: device specific (error register 81h)");
}

// Source: abort codes of CiA 301.
TEST_CASE("abort codes are told in words, with their object") {
  const auto said = [](std::uint32_t code) { return describe_canopen(canopen_abort_message(code, {0x6060, 0})); };
  CHECK(said(0x06020000) == "SDO transfer of 6060:00 ended: no such object (06020000h)");
  CHECK(said(0x06010002) == "SDO transfer of 6060:00 ended: object can only be read (06010002h)");
  CHECK(said(0x05030000) == "SDO transfer of 6060:00 ended: toggle bit not alternated (05030000h)");
  CHECK(said(0x08000022) ==
        "SDO transfer of 6060:00 ended: value cannot be stored in the device's present state (08000022h)");
  CHECK(said(0x12345678) == "SDO transfer of 6060:00 ended: an abort code that CiA 301 does not know");
}

// Source: CiA 402 / IEC 61800-7-201, masks of the status word: "not ready" x0xx0000, "disabled" x1xx0000, "ready"
// x01x0001, "switched on" x01x0011, "enabled" x01x0111, "quick stop" x00x0111, "fault reaction" x0xx1111, "fault"
// x0xx1000.
TEST_CASE("every status word is told by the published patterns") {
  const std::vector<std::pair<std::string, DriveState>> patterns{
      {"x0xx0000", DriveState::not_ready},      {"x1xx0000", DriveState::disabled},
      {"x01x0001", DriveState::ready},          {"x01x0011", DriveState::switched_on},
      {"x01x0111", DriveState::enabled},        {"x00x0111", DriveState::quick_stop},
      {"x0xx1111", DriveState::fault_reaction}, {"x0xx1000", DriveState::fault}};
  for (unsigned word = 0; word < 0x10000; ++word) {
    auto expected = DriveState::unknown;
    for (const auto& [pattern, state] : patterns) {
      bool fits = true;
      for (unsigned bit = 0; bit < 8; ++bit) {
        const char c = pattern[7 - bit];
        if (c != 'x' && (word >> bit & 1) != static_cast<unsigned>(c - '0')) fits = false;
      }
      if (fits) expected = state;
    }
    if (drive_state_of(static_cast<std::uint16_t>(word)) != expected) FAIL("status word " << word);
  }
  SUCCEED();
}

// Source: CiA 402, commands of the control word: shutdown 0006, switch on 0007, enable operation 000F, disable voltage
// 0000, quick stop 0002, fault reset 0080.
TEST_CASE("a drive is walked up, down and out of a fault with the published control words") {
  DriveWalk walk{100ms};
  const auto at = [&](unsigned status, DriveState wanted) {
    walk.on_status(static_cast<std::uint16_t>(status), BenchTime{1ms});
    walk.want(wanted);
    walk.step(BenchTime{1ms}, true);
    return walk.control_word();
  };
  CHECK(at(0x0040, DriveState::disabled) == 0x0000);
  CHECK(at(0x0040, DriveState::enabled) == 0x0006);  // transition 2
  CHECK(at(0x0031, DriveState::enabled) == 0x0007);  // 3
  CHECK(at(0x0033, DriveState::enabled) == 0x000F);  // 4
  CHECK(at(0x0037, DriveState::enabled) == 0x000F);
  CHECK(at(0x0037, DriveState::switched_on) == 0x0007);  // 5
  CHECK(at(0x0033, DriveState::ready) == 0x0006);        // 6
  CHECK(at(0x0031, DriveState::disabled) == 0x0000);     // 7
  CHECK(at(0x0040, DriveState::enabled) == 0x0006);
  CHECK(at(0x0031, DriveState::enabled) == 0x0007);
  CHECK(at(0x0033, DriveState::enabled) == 0x000F);
  CHECK(at(0x0037, DriveState::ready) == 0x0006);  // 8
  CHECK(at(0x0031, DriveState::enabled) == 0x0007);
  CHECK(at(0x0033, DriveState::enabled) == 0x000F);
  CHECK(at(0x0037, DriveState::quick_stop) == 0x0002);  // 11
  CHECK(at(0x0017, DriveState::disabled) == 0x0000);    // 12
  CHECK(at(0x0018, DriveState::disabled) == 0x0000);    // fault
  walk.reset_fault();
  walk.step(BenchTime{2ms}, true);
  CHECK(walk.control_word() == 0x0080);  // 15
}

// Source: CiA 406: position value 6004:00, 32 bits, as a mapping entry 60040020h.
TEST_CASE("an encoder's position is found by its published mapping entry") {
  PdoMap map;
  map.begin(0x00000185);
  CHECK(map.is_valid());
  CHECK(map.identifier() == 0x185);
  REQUIRE(map.add(0x60040020));
  const auto* mapped = map.find({0x6004, 0});
  REQUIRE(mapped != nullptr);
  CHECK(mapped->place.read(bytes({0x78, 0x56, 0x34, 0x12})) == 0x12345678);
}
