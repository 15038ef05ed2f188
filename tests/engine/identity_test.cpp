// A run on a bench whose devices must say what they are before anything moves.

#include "tests/catch.hpp"
// clang-format off: the rig uses the test library
#include "tests/engine/fake_rig.hpp"
// clang-format on

using namespace trackrod;
using namespace trackrod::test;
using namespace std::chrono_literals;

namespace {

constexpr char move[] =
    R"([{"do": "ramp", "name": "out", "signal": "angle_cmd", "to": "20 deg", "rate": "100 deg/s"}])";

// The device must say "0042" or "0043".
struct IdentityRig : FakeRig {
  IdentityRig() { bench.devices[0].identity = {{"serial", {"0042", "0043"}}}; }
  bool moved() const {
    return std::any_of(device.commands.begin(), device.commands.end(), [](double c) { return c != 0.0; });
  }
};

auto always(const std::string& serial) {
  return [serial](BenchTime) { return serial; };
}

}  // namespace

TEST_CASE("a run begins when its device is the one that was asked for") {
  IdentityRig rig;
  rig.device.serial = always("0043");
  rig.run(move);
  CHECK(rig.outcome.stop == StopCause::finished);
  CHECK(rig.moved());
  CHECK(rig.records.of(EventKind::identity_refused).empty());
}

TEST_CASE("a device that says it is another one refuses the run before the bench is armed") {
  IdentityRig rig;
  rig.device.serial = always("0041");
  rig.run(move);
  CHECK(rig.outcome.stop == StopCause::refused);
  CHECK_FALSE(rig.outcome.tripped);
  CHECK(rig.outcome.safe_reached);
  CHECK_FALSE(rig.moved());
  CHECK(rig.records.of(EventKind::arming_effect).empty());
  const auto refused = rig.records.of(EventKind::identity_refused);
  REQUIRE(refused.size() == 1);
  CHECK(refused[0].a == 0);        // the device
  CHECK(refused[0].value == 1.0);  // it says something else
}

TEST_CASE("a device that never says what it is refuses the run") {
  IdentityRig rig;
  rig.run(move);
  CHECK(rig.outcome.stop == StopCause::refused);
  CHECK_FALSE(rig.moved());
  REQUIRE(rig.records.of(EventKind::identity_refused).size() == 1);
  CHECK(rig.records.of(EventKind::identity_refused)[0].value == 0.0);
}

TEST_CASE("the run waits for a device that takes its time to say what it is") {
  IdentityRig rig;
  rig.device.serial = [](BenchTime now) { return std::string{now > zero + 2s ? "0042" : ""}; };
  rig.run(move);
  CHECK(rig.outcome.stop == StopCause::finished);
  CHECK(rig.records.of(EventKind::step_started)[0].when > zero + 2s);
}

TEST_CASE("a device without power before arming is heard and asked once the bench is armed") {
  const auto speaks_after = 700ms;
  for (const auto* serial : {"0042", "0041"}) {
    CAPTURE(serial);
    IdentityRig rig;
    rig.bench.devices.push_back(rig.bench.devices[0]);
    rig.bench.devices[1].name = "diagnosis";
    rig.bench.devices[1].silent_until_armed = true;
    rig.bench.devices[0].identity.clear();
    FakeDevice second;
    second.silent = [&](BenchTime now) { return now < zero + speaks_after; };
    second.serial = [&](BenchTime now) { return std::string{now < zero + speaks_after ? "" : serial}; };
    rig.others = {&second};
    rig.run(move);
    const bool right = serial == std::string{"0042"};
    CHECK(rig.outcome.stop == (right ? StopCause::finished : StopCause::refused));
    CHECK_FALSE(rig.outcome.tripped);
    CHECK_FALSE(rig.records.of(EventKind::arming_effect).empty());
    CHECK(rig.moved() == right);
  }
}

TEST_CASE("a device that stays silent after arming trips the bench") {
  FakeRig rig;
  rig.bench.devices.push_back(rig.bench.devices[0]);
  rig.bench.devices[1].silent_until_armed = true;
  FakeDevice second;
  second.silent = [](BenchTime) { return true; };
  rig.others = {&second};
  rig.run(move);
  CHECK(rig.outcome.tripped);
  CHECK(rig.outcome.trip == TripCause::device_lost);
  CHECK(rig.outcome.steps_done == 0);
}

namespace {

// What was told on each occasion, as a keeper reads it.
struct AccountMinder final : NoMinder {
  std::array<AccountRoom, 3> rooms;
  void take_accounts(Occasion occasion, std::span<Device* const> devices) noexcept override {
    write_accounts(devices, rooms[static_cast<std::size_t>(occasion)]);
  }
  std::optional<Accounts> of(Occasion occasion) const {
    return read_accounts(rooms[static_cast<std::size_t>(occasion)], 1);
  }
};

}  // namespace

TEST_CASE("devices are asked what they are before the first step and after the last, and what they say is kept") {
  FakeRig rig;
  AccountMinder minder;
  rig.keeper = &minder;
  rig.device.serial = [&](BenchTime) {
    return std::string{rig.records.of(EventKind::step_ended).empty() ? "0042" : "0043"};
  };
  rig.device.faults = {{0x123456, 0x2F}};
  rig.run(move);
  CHECK(rig.outcome.stop == StopCause::finished);
  CHECK(rig.device.inspections == 2);
  const auto before = minder.of(Occasion::before), after = minder.of(Occasion::after);
  REQUIRE(before);
  REQUIRE(after);
  CHECK((*before)[0].identity == std::vector<std::pair<std::string, std::string>>{{"serial", "0042"}});
  CHECK((*after)[0].identity == std::vector<std::pair<std::string, std::string>>{{"serial", "0043"}});
  REQUIRE((*before)[0].faults);
  REQUIRE((*before)[0].faults->size() == 1);
  CHECK((*before)[0].faults->front().code == 0x123456);
  CHECK((*before)[0].faults->front().status == 0x2F);
  const auto told = rig.records.of(EventKind::inspected);
  REQUIRE(told.size() == 2);
  CHECK(told[0].when <= rig.records.of(EventKind::step_started)[0].when);
  CHECK(told[1].when >= rig.records.of(EventKind::step_ended)[0].when);
}

TEST_CASE("a device that never ends its answer holds the bench up for some seconds, not for ever") {
  FakeRig rig;
  rig.device.answers = false;
  rig.run(move);
  CHECK(rig.outcome.stop == StopCause::finished);
  CHECK(rig.records.of(EventKind::step_started)[0].when - zero < 10s);
}

TEST_CASE("nothing was told: nothing is read, and what finds no room is left out whole") {
  AccountRoom room;
  CHECK_FALSE(read_accounts(room, 1));
  FakeDevice device;
  device.faults.emplace().assign(10'000, {0xABCDEF, 0xFF});
  std::vector<Device*> devices{&device};
  write_accounts(devices, room);
  const auto accounts = read_accounts(room, 1);
  REQUIRE(accounts);
  REQUIRE((*accounts)[0].faults);
  CHECK((*accounts)[0].faults->size() > 1023);  // as many as one answer of 4095 bytes holds
  CHECK((*accounts)[0].faults->size() < 10'000);
  for (const auto& fault : *(*accounts)[0].faults) CHECK((fault.code == 0xABCDEF && fault.status == 0xFF));
}
