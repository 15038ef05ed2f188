// A CANopen drive from power-on to fault and back, against the simulated one. What that one does is held against the
// published documents in tests/plant and tests/published.

#include "drivers/protocol/canopen.hpp"

#include <chrono>
#include <cmath>

#include "tests/protocol/canopen_rig.hpp"

using namespace trackrod;
using namespace trackrod::testing;
using namespace std::chrono_literals;
using enum trackrod::DriveState;

TEST_CASE("a drive is asked who it is, told its heartbeat, and only then started") {
  CanopenRig rig;
  REQUIRE(rig.run_until([&] { return rig.is_operational(); }));
  CHECK(rig.told == std::vector<std::string>{});
  CHECK(rig.sent[0] == CanData{0x000, {0x80, 5}});
  CHECK(rig.sent_with(0x000).back() == CanData{0x000, {0x01, 5}});
  CHECK(rig.peer.objects().raw({0x1017, 0}) == 10);
  CHECK(rig.control_words.empty());     // disabled all the time
  CHECK(rig.sent_with(0x205).empty());  // nothing was set: no PDO
  CHECK(rig.bench->identity() ==
        "name: servo axis of the test\ndevice_type: 00020192h\nvendor: 11223344h\nproduct: 00000007h\n"
        "revision: 00010002h\nserial: 00001267h");
}

TEST_CASE("what comes in the drive's PDOs is decoded by the mapping that the drive itself tells") {
  for (const bool swapped : {false, true}) {
    CAPTURE(swapped);
    CanopenRig rig;
    if (swapped) rig.map_sent(0, {0x60640020, 0x00050008, 0x60410010});  // with a gap of 8 bits
    rig.peer.show(drive_object::actual_position, -12345);
    rig.peer.show(drive_object::actual_torque, 217);
    rig.run(100ms);
    CHECK(rig.last("position") == Approx(-12.345));
    CHECK(rig.last("drive_state") == 1.0);
    CHECK(rig.last("torque") == Approx(21.7));  // in no PDO: asked for
    CHECK(rig.last("nmt_state") == 5.0);
  }
}

TEST_CASE("setpoints go out in the PDO that the drive maps, each cycle, then SYNC") {
  CanopenRig rig;
  rig.run(50ms);
  rig.set("target", 1.5);
  rig.set("drive_wanted", 1);
  rig.run(2ms);
  rig.sent.clear();
  rig.run(10ms);
  // Control word 0000, target 1500 = 5DCh.
  CHECK(rig.sent_with(0x205).size() == 10);
  CHECK(rig.sent_with(0x205).back() == CanData{0x205, {0x00, 0x00, 0xDC, 0x05, 0x00, 0x00}});
  CHECK(rig.sent_with(0x080).size() == 10);
  CHECK(rig.sent_with(0x080).back() == CanData{0x080, {}});
  CHECK(rig.settled("target"));
  CHECK(rig.peer.objects().raw({0x607A, 0}) == 1500);
}

TEST_CASE("an object in no PDO is written by SDO and settled with the device's confirmation") {
  CanopenRig rig;
  rig.set("limit", 500);
  CHECK_FALSE(rig.settled("limit"));
  REQUIRE(rig.run_until([&] { return rig.settled("limit"); }));
  CHECK(rig.peer.objects().raw({0x6072, 0}) == 500);
  rig.set("limit", 9999);
  rig.run(20ms);
  CHECK_FALSE(rig.settled("limit"));
  CHECK(rig.was_told("SDO transfer of 6072:00 ended: value too high (06090031h)"));
  CHECK(rig.bench->counters().refused == 1);
}

TEST_CASE("a drive is walked up state by state, follows, and is walked down again") {
  CanopenRig rig;
  rig.run(50ms);
  rig.set("drive_mode", 8);
  rig.set("target", 0.25);
  REQUIRE(rig.enable());
  CHECK(rig.states == std::vector{disabled, ready, switched_on, enabled});
  CHECK(rig.control_words == std::vector<unsigned>{0x06, 0x07, 0x0F});
  CHECK(rig.settled("drive_mode"));
  rig.run(5ms);
  CHECK(rig.last("position") == Approx(0.25));
  CHECK(rig.last("drive_state") == 4.0);
  rig.set("drive_wanted", 2);
  REQUIRE(rig.run_until([&] { return rig.settled("drive_wanted"); }));
  rig.set("drive_wanted", 1);
  REQUIRE(rig.run_until([&] { return rig.settled("drive_wanted"); }));
  CHECK(rig.states == std::vector{disabled, ready, switched_on, enabled, ready, disabled});
  CHECK(rig.told.empty());
}

TEST_CASE("cyclic velocity and torque reach their objects in their modes") {
  CanopenRig rig{R"({"kind": "canopen", "node": 5, "profile": 402, "sync": true, "timeout": "20 ms",
    "read": {"speed": {"object": "606C:00", "type": "i32"}, "torque": {"object": "6077:00", "type": "i16", "scale": 0.1}},
    "drive": {"speed_cmd": {"object": "60FF:00", "type": "i32"}, "torque_cmd": {"object": "6071:00", "type": "i16", "scale": 0.1}}})"};
  rig.map_sent(0, {0x60410010, 0x60610008});
  rig.map_sent(1, {0x606C0020, 0x60770010});
  rig.map_taken(0, {0x60400010, 0x60600008});
  rig.map_taken(2, {0x60FF0020, 0x60710010});
  rig.run(50ms);
  rig.set("speed_cmd", -700);
  rig.set("torque_cmd", 12.5);
  rig.set("drive_mode", 9);
  REQUIRE(rig.enable());
  rig.run(5ms);
  CHECK(rig.last("speed") == -700.0);
  CHECK(rig.last("drive_mode") == 9.0);
  rig.set("drive_mode", 10);
  rig.run(5ms);
  CHECK(rig.last("torque") == Approx(12.5));
  CHECK(rig.sent_with(0x605).size() > 10);
  CHECK(rig.sent_with(0x405).back().data == std::vector<unsigned>{0x44, 0xFD, 0xFF, 0xFF, 0x7D, 0x00});
}

TEST_CASE("a drive without the wanted mode is not enabled") {
  CanopenRig rig;
  rig.run(50ms);
  rig.set("drive_mode", 6);  // homing, which it does not have
  CHECK_FALSE(rig.enable());
  CHECK(rig.peer.state() < enabled);
  CHECK(rig.was_told("6060:00 ended: value not allowed"));
  CHECK(rig.was_told("does not go from 'switched on' to 'operation enabled'"));
}

TEST_CASE("a transition that does not come is told, and the drive goes down") {
  CanopenRig rig;
  rig.run(50ms);
  rig.peer.stuck_at = ready;
  CHECK_FALSE(rig.enable());
  CHECK(rig.was_told("does not go from 'ready to switch on' to 'switched on'"));
  rig.peer.stuck_at.reset();
  rig.run(50ms);
  CHECK(rig.peer.state() == disabled);  // the wish no longer counts
}

TEST_CASE("a fault is told with its code, and leads nowhere but down until it is reset and the drive wanted anew") {
  CanopenRig rig;
  rig.run(50ms);
  REQUIRE(rig.enable());
  rig.peer.fail(0x2310);
  rig.run(50ms);
  CHECK(rig.was_told("emergency 2310h: current on the output side (error register 03h)"));
  CHECK(rig.last("drive_state") == 7.0);
  CHECK(rig.was_told("went by itself from 'operation enabled' to 'fault"));
  rig.run(100ms);
  CHECK(rig.peer.state() == fault);
  rig.set("drive_reset", 1);
  REQUIRE(rig.run_until([&] { return rig.peer.state() == disabled; }));
  rig.run(200ms);
  CHECK(rig.peer.state() == disabled);  // still wanted enabled, but not since the fault
  rig.set("drive_reset", 0);
  REQUIRE(rig.enable());
  // A second fault is reset by a second rising edge.
  rig.peer.fail(0x3220);
  rig.run(20ms);
  rig.set("drive_reset", 1);
  REQUIRE(rig.run_until([&] { return rig.peer.state() == disabled; }));
}

TEST_CASE("a drive that switches off by itself is not switched on again") {
  CanopenRig rig;
  rig.run(50ms);
  REQUIRE(rig.enable());
  rig.peer.stuck_at = switched_on;  // does not come back at once, though the control word still says so
  rig.peer.wander(switched_on);
  rig.run(5ms);
  rig.peer.stuck_at.reset();
  rig.run(100ms);
  CHECK(rig.was_told("went by itself from 'operation enabled' to 'switched on'"));
  CHECK(rig.peer.state() == disabled);
  REQUIRE(rig.enable());
}

TEST_CASE("quick stop is held, and left only downwards") {
  CanopenRig rig;
  rig.run(50ms);
  REQUIRE(rig.enable());
  rig.set("drive_wanted", 5);
  rig.run(50ms);
  CHECK(rig.peer.state() == quick_stop);
  CHECK(rig.settled("drive_wanted"));
  rig.set("drive_wanted", 4);
  rig.run(50ms);
  CHECK(rig.peer.state() == quick_stop);
  REQUIRE(rig.enable());
  CHECK(rig.states ==
        std::vector{disabled, ready, switched_on, enabled, quick_stop, disabled, ready, switched_on, enabled});
}

TEST_CASE("a wish taken back while a transition is under way is no fault of the drive") {
  CanopenRig rig;
  rig.run(50ms);
  for (int i = 0; i < 40; ++i) {
    rig.set("drive_wanted", 1);
    rig.run(std::chrono::microseconds{250} * (i % 13));
    rig.set("drive_wanted", 2 + i % 3);
    rig.run(std::chrono::microseconds{250} * (i % 7));
  }
  CHECK(rig.told.empty());
  REQUIRE(rig.enable());
}

TEST_CASE("another device than the bench file's is neither written to nor started") {
  for (const auto& [object, value] :
       {std::pair{ObjectAddress{0x1018, 1}, 0x55U}, std::pair{ObjectAddress{0x1000, 0}, 0x00020196U}}) {
    CanopenRig rig;
    rig.peer.objects().set(object, value);
    rig.set("limit", 1);
    rig.run(2s);
    CHECK(rig.was_told("is not what the bench file says"));
    CHECK(rig.peer.nmt_state() == NmtState::pre_operational);
    CHECK(rig.peer.objects().raw({0x1017, 0}) == 0);
    for (const auto& f : rig.sent_with(0x605)) CHECK((f.data[0] >> 5) != 1);
  }
  CanopenRig rig;
  rig.peer.objects().add_text({0x1008, 0}, "something else");
  rig.run(300ms);
  CHECK(rig.was_told("1008:00 is not what the bench file says"));
  CHECK(rig.peer.nmt_state() == NmtState::pre_operational);
}

TEST_CASE("a lost heartbeat is told, and the drive is disabled before it is started again") {
  CanopenRig rig;
  rig.run(50ms);
  REQUIRE(rig.enable());
  rig.cut = true;
  REQUIRE(rig.run_until([&] { return rig.was_told("heartbeat lost"); }));
  rig.run(100ms);
  rig.cut = false;
  CHECK(rig.peer.state() == enabled);
  REQUIRE(rig.run_until([&] { return rig.peer.state() == disabled; }));
  CHECK(rig.peer.nmt_state() == NmtState::pre_operational);
  REQUIRE(rig.run_until([&] { return rig.is_operational(); }));
  rig.run(100ms);
  CHECK(rig.peer.state() == disabled);
  CHECK(rig.bench->counters().timed_out > 0);
}

TEST_CASE("a drive that starts again is asked and started again, and stays disabled") {
  CanopenRig rig;
  rig.run(50ms);
  REQUIRE(rig.enable());
  rig.peer.power_on();
  REQUIRE(rig.run_until([&] { return rig.was_told("the device started again"); }));
  REQUIRE(rig.run_until([&] { return rig.is_operational(); }));
  rig.run(50ms);
  CHECK(rig.peer.state() == disabled);
  CHECK(rig.peer.objects().raw({0x1017, 0}) == 10);
}

TEST_CASE("a drive that watches the bench's heartbeat fails when the bench falls silent") {
  auto settings = servo_settings;
  settings.insert(settings.find("\"read\""),
                  R"("own_heartbeat": {"node": 100, "every": "10 ms", "lost_after": "30 ms"}, )");
  CanopenRig rig{settings};
  rig.run(100ms);
  CHECK(rig.peer.objects().raw({0x1016, 1}) == 0x0064001E);
  CHECK(rig.sent_with(0x764).size() >= 9);
  CHECK(rig.sent_with(0x764).back() == CanData{0x764, {0x05}});
  REQUIRE(rig.enable());
  for (int i = 0; i < 40; ++i) rig.peer.due(at(rig.now += 1ms));
  CHECK(rig.peer.state() == fault);
  CHECK(rig.peer.nmt_state() == NmtState::pre_operational);
}

TEST_CASE("a field that nothing brings, or that has another size, is told") {
  CanopenRig rig{R"({"kind": "canopen", "node": 5, "timeout": "20 ms",
    "read": {"speed": {"object": "606C:00", "type": "i32"}, "position": {"object": "6064:00", "type": "i16"}}})"};
  rig.run(100ms);
  CHECK(rig.was_told("606C:00 is in no PDO of the device"));
  CHECK(rig.was_told("6064:00 has another size"));
}

TEST_CASE("a PDO under a foreign identifier needs to be listened to") {
  for (const bool listens : {false, true}) {
    CanopenRig rig{R"({"kind": "canopen", "node": 5, "timeout": "20 ms", "sync": true, "also_listen": [)" +
                   std::string{listens ? "417" : ""} + R"(],
      "read": {"position": {"object": "6064:00", "type": "i32"}}})"};
    rig.peer.objects().set({0x1800, 1}, 0x1A1);
    rig.peer.show(drive_object::actual_position, 77);
    rig.run(100ms);
    CHECK(rig.was_told("identifier 1A1h") != listens);
    CHECK((rig.last("position") == 77.0) == listens);
    CHECK(rig.bench->wanted().size() == (listens ? 2 : 1));
  }
}

TEST_CASE("an encoder without PDOs is asked for its position") {
  CanopenWire<CanopenEncoder> rig{R"({"kind": "canopen", "node": 9, "profile": 406, "timeout": "20 ms",
    "read": {"angle": {"object": "6004:00", "type": "u32", "scale": 0.0054931640625, "every": "2 ms"}}})",
                                  9U, "encoder of the test", 65536U};
  rig.peer.objects().set({0x1800, 1}, 0x80000189);  // its PDO is not used
  rig.peer.store();
  rig.peer.power_on();
  rig.peer.show(16384);
  rig.run(100ms);
  CHECK(rig.last("angle") == Approx(90.0));
  CHECK(rig.told.empty());
}

TEST_CASE("an open SDO question is answered late or never: counted, told once, asked again") {
  CanopenRig rig;
  rig.cut = true;
  rig.run(200ms);
  CHECK(rig.bench->counters().timed_out >= 8);
  CHECK(rig.told == std::vector<std::string>{"no answer when asked for 1000:00"});
  rig.cut = false;
  CHECK(rig.run_until([&] { return rig.is_operational(); }));
}
