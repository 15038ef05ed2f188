// The simulated drive and encoder. Control and status words, transitions and modes are those of CiA 402
// (IEC 61800-7-201), the encoder's objects those of CiA 406; from memory.

#include "fixtures/simulator/canopen_drive.hpp"
#include "fixtures/simulator/canopen_encoder.hpp"
#include "tests/plant/canopen_bus.hpp"

using namespace trackrod;
using namespace trackrod::testing;

namespace {

struct Drive {
  CanopenDrive drive{5, "a drive"};
  CanopenBus bus{drive};

  explicit Drive(int quick_stop_option = 2) {
    drive.objects().set(drive_object::quick_stop_option, static_cast<std::uint64_t>(quick_stop_option));
    drive.store();
    drive.power_on();
    bus.send(0x000, {0x01, 5});
    bus.answers();
  }
  void control(int word) { bus.ask(0x605, {0x2B, 0x40, 0x60, 0x00, word & 0xFF, word >> 8, 0, 0}); }
  void mode(int mode) { bus.ask(0x605, {0x2F, 0x60, 0x60, 0x00, mode, 0, 0, 0}); }
  unsigned status() { return static_cast<unsigned>(drive.objects().raw(drive_object::status_word)); }
  void bring_to(DriveState state) {
    using enum DriveState;
    control(0x00);
    if (state == fault_reaction || state == fault) drive.fail(0x2310);
    if (state == fault) bus.wait(10ms);
    if (state == fault || state == fault_reaction || state == disabled) return;
    control(0x06);
    if (state == ready) return;
    control(0x07);
    if (state == switched_on) return;
    control(0x0F);
    if (state == quick_stop) control(0x02);
  }
};

}  // namespace

TEST_CASE("each state shows its published pattern in the status word") {
  using enum DriveState;
  const std::vector<std::tuple<DriveState, unsigned, unsigned>> patterns{
      {disabled, 0x4F, 0x40},   {ready, 0x6F, 0x21},          {switched_on, 0x6F, 0x23}, {enabled, 0x6F, 0x27},
      {quick_stop, 0x6F, 0x07}, {fault_reaction, 0x4F, 0x0F}, {fault, 0x4F, 0x08}};
  for (const auto& [state, mask, pattern] : patterns) {
    CAPTURE(drive_state_name(state));
    Drive d{6};
    d.bring_to(state);
    CHECK(d.drive.state() == state);
    CHECK((d.status() & mask) == pattern);
    CHECK((d.status() & 0x210) == 0x210);  // voltage is there, control words count
  }
}

TEST_CASE("each state takes the published commands and no others") {
  using enum DriveState;
  const std::vector<DriveState> all{disabled, ready, switched_on, enabled, quick_stop, fault};
  // Shutdown, switch on, enable operation, disable voltage, quick stop, fault reset. Where a command stands that has no
  // meaning, the state stays. Numbers are the transitions'.
  const std::vector<std::pair<int, std::vector<DriveState>>> commands{
      {0x06, {/*2*/ ready, ready, /*6*/ ready, /*8*/ ready, quick_stop, fault}},
      {0x07, {disabled, /*3*/ switched_on, switched_on, /*5*/ switched_on, quick_stop, fault}},
      {0x0F, {disabled, /*3*/ switched_on, /*4*/ enabled, enabled, /*16*/ enabled, fault}},
      {0x00, {disabled, /*7*/ disabled, /*10*/ disabled, /*9*/ disabled, /*12*/ disabled, fault}},
      {0x02, {disabled, /*7*/ disabled, /*10*/ disabled, /*11*/ quick_stop, quick_stop, fault}},
      {0x80, {disabled, /*7*/ disabled, /*10*/ disabled, /*9*/ disabled, /*12*/ disabled, /*15*/ disabled}}};
  for (const auto& [word, leads_to] : commands)
    for (std::size_t i = 0; i < all.size(); ++i) {
      Drive d{6};
      d.bring_to(all[i]);
      REQUIRE(d.drive.state() == all[i]);
      CAPTURE(drive_state_name(all[i]), word);
      d.control(word);
      CHECK(drive_state_name(d.drive.state()) == std::string{drive_state_name(leads_to[i])});
    }
}

TEST_CASE("from any state a fault leads through its reaction into fault, and only a new reset out of it") {
  using enum DriveState;
  for (const auto state : {disabled, ready, switched_on, enabled, quick_stop}) {
    CAPTURE(drive_state_name(state));
    Drive d{6};
    d.bring_to(state);
    d.control(static_cast<int>(d.drive.objects().raw(drive_object::control_word)) | 0x80);  // stands already
    const auto before = d.drive.state();
    if (before != state) continue;  // the reset bit alone is "disable voltage" there
    d.drive.fail(0x3210);
    CHECK(d.drive.state() == fault_reaction);  // 13
    CHECK(d.bus.answers() == BusFrames{{0x085, {0x10, 0x32, 0x05, 0, 0, 0, 0, 0}}});
    d.bus.wait(10ms);
    CHECK(d.drive.state() == fault);  // 14
    CHECK(d.drive.objects().raw(drive_object::error_code) == 0x3210);
    d.control(0x80);
    CHECK(d.drive.state() == fault);
    d.control(0x00);
    d.bus.send(0x605, {0x2B, 0x40, 0x60, 0x00, 0x80, 0, 0, 0});
    CHECK(d.drive.state() == disabled);
    CHECK(d.drive.objects().raw(drive_object::error_code) == 0);
  }
}

TEST_CASE("a quick stop ends in switch on disabled, or is held where the drive is set so") {
  for (const auto& [option, ends] :
       {std::pair{2, DriveState::disabled}, {5, DriveState::quick_stop}, {6, DriveState::quick_stop}}) {
    Drive d{option};
    d.bring_to(DriveState::enabled);
    d.control(0x02);
    CHECK(d.drive.state() == DriveState::quick_stop);
    d.bus.wait(10ms);
    CHECK(d.drive.state() == ends);
  }
}

TEST_CASE("the cyclic modes follow their targets only while operation is enabled") {
  Drive d;
  CHECK(d.drive.objects().raw(drive_object::supported_modes) == 0x380);  // bits 7 to 9
  d.mode(8);
  d.bus.send(0x205, {0, 0, 0xE8, 0x03, 0, 0});  // target 1000, with the next SYNC
  d.bus.send(0x080, {});
  CHECK_FALSE(d.drive.demand().powered);
  CHECK(d.drive.demand().position == 0.0);
  d.bring_to(DriveState::enabled);
  CHECK((d.status() & 0x1000) != 0);  // follows
  d.bus.answers();
  CHECK(d.drive.demand().powered);
  CHECK(d.drive.demand().position == 1000.0);

  // 60FFh: -200 units a second, from where it stands.
  d.bus.ask(0x605, {0x23, 0xFF, 0x60, 0x00, 0x38, 0xFF, 0xFF, 0xFF});
  d.mode(9);
  d.bus.wait(500ms);
  CHECK(d.drive.demand().position == Approx(900.0));
  CHECK(d.drive.objects().number(drive_object::actual_velocity) == -200.0);

  // 6071h: 500 thousandths, of which 6072h lets 400 through.
  d.bus.ask(0x605, {0x2B, 0x71, 0x60, 0x00, 0xF4, 0x01, 0, 0});
  CHECK(d.drive.demand().torque == 0.0);
  d.mode(10);
  CHECK(d.drive.demand().torque == 500.0);
  d.bus.ask(0x605, {0x2B, 0x72, 0x60, 0x00, 0x90, 0x01, 0, 0});
  CHECK(d.drive.demand().torque == 400.0);
  d.control(0x07);
  CHECK(d.drive.demand().torque == 0.0);
  CHECK_FALSE(d.drive.demand().powered);
  // Profile position, which it does not have: 06090030.
  CHECK(d.bus.ask(0x605, {0x2F, 0x60, 0x60, 0x00, 1, 0, 0, 0}) ==
        BusFrame{0x585, {0x80, 0x60, 0x60, 0x00, 0x30, 0x00, 0x09, 0x06}});
}

TEST_CASE("a drive whose master falls silent does what it is set to") {
  using enum DriveState;
  for (const auto& [option, ends] : {std::pair{0, enabled}, {1, fault}, {2, disabled}, {3, disabled}}) {
    CAPTURE(option);
    Drive d;
    d.drive.objects().set(drive_object::abort_connection_option, static_cast<std::uint64_t>(option));
    d.bus.ask(0x605, {0x23, 0x16, 0x10, 0x01, 0x14, 0x00, 0x7F, 0x00});  // node 127, 20 ms
    d.bus.send(0x77F, {0x05});
    d.bring_to(enabled);
    d.bus.wait(40ms);
    CHECK(d.drive.state() == ends);
  }
}

TEST_CASE("an encoder shows its position in its PDO as often as its cyclic timer says, and can be preset") {
  CanopenEncoder encoder{6, "an encoder", 3600};
  CanopenBus bus{encoder};
  encoder.power_on();
  // Profile 406, absolute, of one turn.
  bus.answers();
  CHECK(bus.ask(0x606, {0x40, 0x00, 0x10, 0x00, 0, 0, 0, 0}) ==
        BusFrame{0x586, {0x43, 0x00, 0x10, 0x00, 0x96, 0x01, 0x01, 0x00}});
  bus.ask(0x606, {0x2B, 0x00, 0x62, 0x00, 4, 0, 0, 0});  // 4 ms
  encoder.show(1000.4);
  bus.send(0x000, {0x01, 6});
  CHECK(bus.wait(40ms) == BusFrames(10, BusFrame{0x186, {0xE8, 0x03, 0, 0}}));
  encoder.show(-1.0);  // 3599, E0Fh
  CHECK(bus.wait(4ms) == BusFrames{{0x186, {0x0F, 0x0E, 0, 0}}});
  CHECK(bus.ask(0x606, {0x23, 0x03, 0x60, 0x00, 100, 0, 0, 0}).data[0] == 0x60);
  CHECK(encoder.objects().raw(encoder_object::position) == 100);
  encoder.show(9.0);
  CHECK(encoder.objects().raw(encoder_object::position) == 110);
  CHECK(bus.ask(0x606, {0x23, 0x03, 0x60, 0x00, 0x10, 0x0E, 0, 0}).data[0] == 0x80);  // 3600 is out of its range
}
