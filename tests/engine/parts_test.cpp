// The small parts of the engine: limits, interlocks, sequences.

#include <cmath>
#include <vector>

#include "harness/engine/interlocks.hpp"
#include "harness/engine/limiter.hpp"
#include "harness/engine/sequence.hpp"
#include "tests/catch.hpp"
#include "tests/engine/small_bench.hpp"

using namespace trackrod;
using namespace trackrod::test;
using namespace std::chrono_literals;

namespace {

BenchTime at(Duration d) { return BenchTime{d}; }

Sample sample(SignalIndex signal, double value, Duration when = 0ms) {
  return {at(when), value, 0, signal, StampedBy::kernel};
}

// Remembers what a sequence did.
struct Hands final : SequenceHands {
  std::vector<std::pair<SignalIndex, double>> writes;
  std::vector<std::tuple<std::size_t, bool, bool>> notes;
  bool confirms{true};
  void write(SignalIndex s, double v) noexcept override { writes.emplace_back(s, v); }
  bool settled(SignalIndex) const noexcept override { return confirms; }
  void note(std::size_t a, bool effect, bool good) noexcept override { notes.emplace_back(a, effect, good); }
};

}  // namespace

TEST_CASE("a setpoint beyond the range is brought to its end, and one that is too fast to the greatest slew") {
  const auto bench = small_bench();
  const auto& info = bench.signals[angle_cmd].info;  // -180 to 180 deg, 1000 deg/s
  CHECK(limit_setpoint(info, 0.9, 0.0, 1ms).by == LimitedBy::nothing);
  CHECK(limit_setpoint(info, 1.0, 0.0, 1ms).by == LimitedBy::nothing);  // exactly the greatest slew passes
  const auto fast = limit_setpoint(info, 5.0, 0.0, 1ms);
  CHECK(fast.by == LimitedBy::slew);
  CHECK(fast.value == Approx(1.0));
  CHECK(limit_setpoint(info, -5.0, 0.0, 1ms).value == Approx(-1.0));
  const auto far = limit_setpoint(info, 200.0, 179.9, 1ms);
  CHECK(far.by == LimitedBy::range);
  CHECK(far.value == 180.0);
  CHECK(limit_setpoint(bench.signals[mode].info, 3.0, 0.0, 1ms).value == 3.0);  // no slew limit declared
}

TEST_CASE("an interlock trips after its grace time, not before, and not when it recovered in between") {
  const auto bench = small_bench();  // -150 to 150 deg, grace 5 ms
  LiveValues live{bench};
  live.set_lost(0, false);
  InterlockWatch watch{bench.interlocks};
  live.take(sample(angle, 0.0));
  CHECK_FALSE(watch.check(at(0ms), live, true));
  live.take(sample(angle, 151.0));
  CHECK_FALSE(watch.check(at(10ms), live, true));
  CHECK_FALSE(watch.check(at(14ms), live, true));
  live.take(sample(angle, 149.0));
  CHECK_FALSE(watch.check(at(15ms), live, true));
  live.take(sample(angle, -151.0));
  CHECK_FALSE(watch.check(at(16ms), live, true));
  const auto broken = watch.check(at(21ms), live, true);
  REQUIRE(broken);
  CHECK(broken->interlock == 0);
  CHECK(broken->value == -151.0);
}

TEST_CASE("no value, not a number and a lost device each break an interlock") {
  const auto bench = small_bench();
  LiveValues live{bench};
  InterlockWatch watch{bench.interlocks};
  const auto broken_at = [&](Duration from) {
    (void)watch.check(at(from), live, true);
    return watch.check(at(from + 5ms), live, true).has_value();
  };
  live.set_lost(0, false);
  CHECK(broken_at(0ms));  // never seen
  live.take(sample(angle, NAN));
  CHECK(broken_at(100ms));
  live.take(sample(angle, 0.0));
  CHECK_FALSE(broken_at(200ms));
  live.set_lost(0, true);
  CHECK(broken_at(300ms));
}

TEST_CASE("while arming an interlock counts from the moment it has held") {
  const auto bench = small_bench();
  LiveValues live{bench};
  live.set_lost(0, false);
  InterlockWatch watch{bench.interlocks};
  live.take(sample(angle, 170.0));
  CHECK_FALSE(watch.check(at(0ms), live, false));
  CHECK_FALSE(watch.check(at(50ms), live, false));
  live.take(sample(angle, 0.0));
  CHECK_FALSE(watch.check(at(60ms), live, false));
  live.take(sample(angle, 170.0));
  CHECK_FALSE(watch.check(at(70ms), live, false));
  CHECK(watch.check(at(75ms), live, false));
}

TEST_CASE("the safe state does not end, nor take an effect for its own, before what it wrote was handed over") {
  const auto bench = small_bench();
  LiveValues live{bench};
  live.set_lost(0, false);
  Hands hands;
  hands.confirms = false;  // as a message that goes out every 50 ms
  const auto advance = [&](SequenceRunner& runner, Duration when) { return runner.advance(at(when), live, hands); };
  SECTION("at the end") {
    const std::vector<Action> actions{set(mode, 0.0)};
    SequenceRunner runner{actions, OnFailure::go_on};
    CHECK(advance(runner, 0ms) == SequenceRunner::State::running);
    CHECK(advance(runner, 49ms) == SequenceRunner::State::running);
    hands.confirms = true;
    CHECK(advance(runner, 50ms) == SequenceRunner::State::done);
  }
  SECTION("before an effect that was there already") {
    const std::vector<Action> actions{set(mode, 0.0), wait(angle, -1, 1, 200ms)};
    SequenceRunner runner{actions, OnFailure::go_on};
    for (const auto when : {0ms, 10ms, 20ms}) {
      live.take(sample(angle, 0.0, when));
      CHECK(advance(runner, when) == SequenceRunner::State::running);
    }
    hands.confirms = true;
    live.take(sample(angle, 0.0, 30ms));
    CHECK(advance(runner, 30ms) == SequenceRunner::State::running);
    live.take(sample(angle, 0.0, 31ms));
    CHECK(advance(runner, 31ms) == SequenceRunner::State::done);
  }
  SECTION("a device that never takes it holds up the rest for a tenth of a second") {
    const std::vector<Action> actions{set(mode, 0.0), wait(angle, -1, 1, 200ms), set(angle_cmd, 0.0)};
    SequenceRunner runner{actions, OnFailure::go_on};
    auto state = SequenceRunner::State::running;
    Duration when{};
    for (; state == SequenceRunner::State::running; when += 1ms) {
      live.take(sample(angle, 0.0, when));
      state = advance(runner, when);
    }
    CHECK(state == SequenceRunner::State::done);
    CHECK(when <= 2 * 100ms + 3ms);
    CHECK(hands.writes.size() == 2);
  }
}

TEST_CASE("a sequence writes in order and waits for each effect") {
  const auto bench = small_bench();
  LiveValues live{bench};
  live.set_lost(0, false);
  Hands hands;
  const std::vector<Action> actions{set(mode, 3.0), wait(angle, -1, 1, 100ms), set(mode, 0.0)};
  SequenceRunner runner{actions, OnFailure::go_on};
  live.take(sample(angle, 20.0, 0ms));
  CHECK(runner.advance(at(0ms), live, hands) == SequenceRunner::State::running);
  CHECK(hands.writes == std::vector<std::pair<SignalIndex, double>>{{mode, 3.0}});
  live.take(sample(angle, 20.0, 50ms));
  CHECK(runner.advance(at(50ms), live, hands) == SequenceRunner::State::running);
  live.take(sample(angle, 0.5, 60ms));
  CHECK(runner.advance(at(60ms), live, hands) == SequenceRunner::State::running);
  CHECK(runner.advance(at(61ms), live, hands) == SequenceRunner::State::done);
  CHECK(hands.writes == std::vector<std::pair<SignalIndex, double>>{{mode, 3.0}, {mode, 0.0}});
  CHECK(runner.all_effects_seen());
}

TEST_CASE("an effect is told by a sample that is newer than the write, not by one from before it") {
  const auto bench = small_bench();
  LiveValues live{bench};
  live.set_lost(0, false);
  Hands hands;
  const std::vector<Action> actions{set(mode, 3.0), wait(angle, -1, 1, 100ms), set(mode, 0.0)};
  SequenceRunner runner{actions, OnFailure::go_on};
  live.take(sample(angle, 0.0, 0ms));  // already so
  CHECK(runner.advance(at(0ms), live, hands) == SequenceRunner::State::running);
  CHECK(runner.advance(at(1ms), live, hands) == SequenceRunner::State::running);
  CHECK(hands.writes.size() == 1);  // the first write has gone out by itself
  live.take(sample(angle, 0.0, 2ms));
  CHECK(runner.advance(at(2ms), live, hands) == SequenceRunner::State::running);
  CHECK(hands.writes.size() == 2);
  CHECK(runner.advance(at(3ms), live, hands) == SequenceRunner::State::done);
}

TEST_CASE("the safe state goes on past an effect that does not come, and says so") {
  const auto bench = small_bench();
  LiveValues live{bench};
  Hands hands;
  hands.confirms = false;
  const std::vector<Action> actions{set(mode, 3.0), wait(angle, -1, 1, 100ms), set(mode, 0.0)};
  SequenceRunner runner{actions, OnFailure::go_on};
  CHECK(runner.advance(at(0ms), live, hands) == SequenceRunner::State::running);
  CHECK(runner.advance(at(1ms), live, hands) == SequenceRunner::State::running);
  CHECK(runner.advance(at(101ms), live, hands) == SequenceRunner::State::running);
  CHECK(hands.writes.size() == 2);
  CHECK(runner.advance(at(201ms), live, hands) == SequenceRunner::State::failed);
  CHECK_FALSE(runner.all_effects_seen());
}

TEST_CASE("arming stops at the first thing that does not come") {
  const auto bench = small_bench();
  LiveValues live{bench};
  SECTION("an effect") {
    Hands hands;
    const std::vector<Action> actions{wait(voltage, 12, 14, 100ms), set(mode, 1.0)};
    SequenceRunner runner{actions, OnFailure::stop};
    CHECK(runner.advance(at(0ms), live, hands) == SequenceRunner::State::running);
    CHECK(runner.advance(at(100ms), live, hands) == SequenceRunner::State::failed);
    CHECK(runner.position() == 0);
    CHECK(hands.writes.empty());
  }
  SECTION("the confirmation of a setting") {
    Hands hands;
    hands.confirms = false;
    const std::vector<Action> actions{set(mode, 1.0), set(angle_cmd, 1.0)};
    SequenceRunner runner{actions, OnFailure::stop};
    CHECK(runner.advance(at(0ms), live, hands) == SequenceRunner::State::running);
    CHECK(runner.advance(at(1900ms), live, hands) == SequenceRunner::State::running);
    CHECK(runner.advance(at(2s), live, hands) == SequenceRunner::State::failed);
    CHECK(hands.writes.size() == 1);
  }
}
