// Repeats that end by time, or because a limit that stops them was passed.

#include "tests/catch.hpp"
// clang-format off: the rig uses the test library
#include "tests/engine/fake_rig.hpp"
// clang-format on

using namespace trackrod;
using namespace trackrod::test;
using namespace std::chrono_literals;

namespace {

std::string plan(const std::string& keys) {
  return R"([{"do": "repeat", )" + keys + R"(, "steps": [
    {"do": "hold", "name": "a", "for": "100 ms"}, {"do": "hold", "name": "b", "for": "100 ms"}]},
    {"do": "hold", "name": "after", "for": "50 ms"}])";
}

std::vector<std::uint32_t> numbers_of(const std::vector<Event>& events) {
  std::vector<std::uint32_t> out;
  for (const auto& e : events) out.push_back(e.a);
  return out;
}

struct EndingMinder final : NoMinder {
  explicit EndingMinder(const TimeSource& t) : time{t} {}
  bool repeat_to_end() const noexcept override { return from && time.now() >= *from; }
  const TimeSource& time;
  std::optional<BenchTime> from;
};

}  // namespace

TEST_CASE("a repeat by time finishes the pass in which its time is over; every step was announced before") {
  FakeRig rig;
  rig.run(plan(R"("lasts": "1 s")"));
  CHECK(rig.outcome.stop == StopCause::finished);
  const auto started = rig.records.of(EventKind::step_started), ended = rig.records.of(EventKind::repeat_ended);
  REQUIRE(ended.size() == 1);
  CHECK(static_cast<RepeatEnd>(ended[0].a) == RepeatEnd::time);
  // At 1 s the sixth pass begins; it was announced a step before.
  CHECK(ended[0].b == 6);
  CHECK(rig.outcome.steps_done == 2 * 6 + 1);
  CHECK(started.back().a == rig.timeline->steps().back().id);
  CHECK(numbers_of(started) == numbers_of(rig.records.of(EventKind::step_announced)));
}

TEST_CASE("a repeat whose limit was passed ends with a whole pass, and what follows is run") {
  FakeRig rig;
  EndingMinder minder{rig.time};
  rig.keeper = &minder;
  minder.from = zero + 1500ms;
  rig.run(plan(R"("endless": true)"));
  CHECK(rig.outcome.stop == StopCause::finished);
  const auto ended = rig.records.of(EventKind::repeat_ended);
  REQUIRE(ended.size() == 1);
  CHECK(static_cast<RepeatEnd>(ended[0].a) == RepeatEnd::limit);
  CHECK(rig.outcome.steps_done == 2 * ended[0].b + 1);
  const auto started = rig.records.of(EventKind::step_started);
  CHECK(started.back().when - *minder.from <= 400ms);  // the pass under way, and the one announced
  CHECK(numbers_of(started) == numbers_of(rig.records.of(EventKind::step_announced)));
}
