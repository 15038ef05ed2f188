// Messages of devices in the record: what was told at once, and what was found by asking now and then.

#include "tests/catch.hpp"
// clang-format off: the rig uses the test library
#include "tests/engine/fake_rig.hpp"
// clang-format on

using namespace trackrod;
using namespace trackrod::test;
using namespace std::chrono_literals;

namespace {

constexpr char hold[] = R"([{"do": "hold", "name": "rest", "for": "200 ms"}])";

// The events of a run in which the device tells of `message` after 100 ms.
std::vector<Event> told(std::uint32_t message, Window came) {
  FakeRig rig;
  bool was_told = false;
  rig.run(hold, [&](BenchTime now) {
    if (was_told || now < zero + 100ms) return;
    was_told = true;
    rig.device.message = message;
    rig.device.message_came = came;
  });
  return rig.records.of(EventKind::device_message);
}

}  // namespace

TEST_CASE("a message that says nothing of its time stands at the tick that took it") {
  const auto events = told(113, {});
  REQUIRE(events.size() == 1);
  CHECK(events[0].when >= zero + 100ms);
  CHECK(events[0].when <= zero + 102ms);
  CHECK(events[0].a == 0);
  CHECK(events[0].b == 113);
  CHECK(events[0].value == 0.0);
}

TEST_CASE("a message that was found by asking stands where it was found, with the time that is open before it") {
  const auto events = told(7, {zero + 40ms, zero + 95ms});
  REQUIRE(events.size() == 1);
  CHECK(events[0].when == zero + 95ms);
  CHECK(events[0].value == Approx(0.055));
}

TEST_CASE("a message whose beginning is not known has no length") {
  const auto events = told(7, {{}, zero + 95ms});
  REQUIRE(events.size() == 1);
  CHECK(events[0].when == zero + 95ms);
  CHECK(events[0].value == 0.0);
}
