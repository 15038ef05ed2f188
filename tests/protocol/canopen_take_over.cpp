// A process dies while it drives a CANopen device; another goes on.

#include <array>
#include <chrono>

#include "tests/protocol/canopen_rig.hpp"

using namespace trackrod;
using namespace trackrod::testing;
using namespace std::chrono_literals;

namespace {

using Words = std::array<std::uint32_t, 24>;

Words taken_over(CanopenRig& rig) {
  Words words{};
  rig.bench->save(words);
  rig.bench = make(servo_settings);
  rig.bench->load(words);
  rig.sent.clear();
  return words;
}

}  // namespace

TEST_CASE("the process that takes over sends the same PDO at once, in the same phase") {
  CanopenRig rig;
  rig.run(50ms);
  rig.set("target", -2.0);
  REQUIRE(rig.enable());
  const auto before = rig.sent_with(0x205).back();
  rig.run(1ms);
  taken_over(rig);
  rig.run(5ms);
  REQUIRE(rig.sent_with(0x205).size() == 5);
  for (const auto& f : rig.sent_with(0x205)) CHECK(f == before);
  CHECK(rig.sent_with(0x080).size() == 5);
  CHECK(rig.sent_with(0x000).empty());  // the device goes on running
  CHECK(rig.peer.state() == DriveState::enabled);
}

TEST_CASE("a safe state written right after a take-over brings the drive down") {
  for (const double safe : {1.0, 5.0}) {
    CAPTURE(safe);
    CanopenRig rig;
    rig.run(50ms);
    REQUIRE(rig.enable());
    taken_over(rig);
    rig.set("drive_wanted", safe);
    rig.run(2ms);  // before a status word can be read
    CHECK(rig.peer.state() == static_cast<DriveState>(safe));
    rig.run(100ms);
    CHECK(rig.peer.state() == static_cast<DriveState>(safe));
    CHECK(rig.settled("drive_wanted"));
    CHECK(rig.told.empty());
  }
}

TEST_CASE("values come again after a take-over, and the drive can be walked on") {
  CanopenRig rig;
  rig.run(50ms);
  REQUIRE(rig.enable());
  taken_over(rig);
  rig.sink.all.clear();
  rig.run(100ms);
  CHECK(rig.last("drive_state") == 4.0);
  CHECK_FALSE(std::isnan(rig.last("position")));
  rig.set("drive_wanted", 2);
  REQUIRE(rig.run_until([&] { return rig.settled("drive_wanted"); }));
  CHECK(rig.peer.state() == DriveState::ready);
}

TEST_CASE("a transfer that the dead process left open is given up first") {
  CanopenRig rig;
  rig.run(200ms);
  taken_over(rig);
  rig.run(1ms);
  REQUIRE_FALSE(rig.sent_with(0x605).empty());
  CHECK(rig.sent_with(0x605)[0] == CanData{0x605, {0x80, 0, 0, 0, 0, 0, 0, 8}});  // 08000000: general error
}

TEST_CASE("before the device was started there is nothing to take over") {
  CanopenRig rig;
  rig.run(2ms);
  taken_over(rig);
  rig.run(1ms);
  CHECK(rig.sent[0] == CanData{0x000, {0x80, 5}});
}
