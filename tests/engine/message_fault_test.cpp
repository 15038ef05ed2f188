// What the engine promises of faults of messages: there from the first message that is due, told by what was sent, and
// never in the way of the safe state.

#include "drivers/protocol/protocol.hpp"
#include "tests/catch.hpp"
// clang-format off: the rig uses the test library
#include "tests/engine/fake_rig.hpp"
#include "tests/protocol/wire.hpp"
// clang-format on

using namespace trackrod;
using namespace trackrod::test;
using namespace std::chrono_literals;

namespace {

using K = MessageFault::Kind;

// Setpoint and mode in one frame; what the far end takes of it reaches the device.
class Framed final : public Device, private FieldSink {
 public:
  Framed(FakeDevice& far, const Bench& bench, const std::string& cycle)
      : far_{far},
        bench_{bench},
        near_end_{trackrod::testing::make(text(cycle))},
        far_end_{trackrod::testing::make(text(cycle), Side::peer)} {}
  void expect() {
    for (const auto& fault : bench_.faults)
      if (const auto* f = std::get_if<MessageFault>(&fault.way)) near_end_->expect(*f);
  }
  std::vector<BenchTime> taken;  // when the far end took a frame

  void arrived(std::span<const std::byte>, Stamp, SampleSink&) noexcept override {}
  bool set(SignalIndex signal, double value) noexcept override { return near_end_->set(field_of(signal), value), true; }
  Sent transmit(BenchTime now) noexcept override {
    for (auto b = near_end_->due(now); !b.empty(); b = near_end_->due(now)) {
      if (!far_end_->on_bytes(b, {now, StampedBy::kernel, {}}, *this)) continue;
      taken.push_back(now);
      far_.transmit(now);
    }
    return Sent::sent;
  }
  int last_error() const noexcept override { return 0; }
  BenchTime last_heard() const noexcept override { return far_.last_heard(); }
  bool settled(SignalIndex signal) const noexcept override { return near_end_->settled(field_of(signal)); }
  std::uint32_t take_message() noexcept override { return 0; }
  void disturb(const MessageFault& fault) noexcept override { near_end_->disturb(fault); }
  void leave(const MessageFault& fault) noexcept override { near_end_->leave(fault); }
  Disturbance disturbance(const MessageFault& fault) const noexcept override { return near_end_->disturbance(fault); }
  void remember(ProtocolMemory&) const noexcept override {}
  void take_over(const ProtocolMemory&) noexcept override {}

 private:
  FieldIndex field_of(SignalIndex signal) const noexcept { return signal == angle_cmd ? 0 : 1; }
  void field(FieldIndex field, double value, Stamp) noexcept override {
    far_.set(field == 0 ? angle_cmd : mode, value);
  }

  static std::string text(const std::string& cycle) {
    return R"({"kind": "frames", "send": {"command": {"length": 5, "counter": {"start": 0, "bits": 8},
      "checksum": {"kind": "XOR-8", "at": 4}, "fields": {"angle_cmd": {"start": 8, "bits": 16, "signed": true, "scale": 0.01},
      "mode": {"start": 24, "bits": 8}}, "cycle": ")" +
           cycle + "\"}}}";
  }
  FakeDevice& far_;
  const Bench& bench_;
  std::unique_ptr<Protocol> near_end_, far_end_;
};

MessageFault whole(K kind) {
  MessageFault f;
  f.kind = kind;
  f.message = kind == K::silent ? every_message : 0;
  f.time = kind == K::held_back ? 300ms : 40ms;
  f.times = kind == K::repeated ? 100 : 3;
  f.in_place = true;
  f.step = 5;
  return f;
}

struct SpoiltRig : FakeRig {
  explicit SpoiltRig(K kind, const std::string& cycle = "10 ms") : framed{device, bench, cycle} {
    FaultSpec fault;
    fault.name = "spoilt";
    fault.way = whole(kind);
    bench.faults = {fault};
    bench.devices[0].timeout = 500ms;
    framed.expect();
    sent_through = &framed;
  }
  // The fault from `from` after the step began, for so long.
  void run_with(const std::string& from, const std::string& lasts, const std::string& step = "1 s") {
    run(R"([{"do": "parallel", "name": "still", "tracks": [[{"do": "hold", "for": ")" + step +
        R"("}], [{"do": "hold", "for": ")" + from + R"("}, {"do": "inject", "fault": "spoilt", "for": ")" + lasts +
        R"("}]]}])");
    began = records.of(EventKind::step_started).front().when;
  }
  std::vector<Duration> after_begin(EventKind kind) const {
    std::vector<Duration> all;
    for (const auto& e : records.of(kind)) all.push_back(e.when - began);
    return all;
  }
  // Frames that the far end took in that part of the step.
  std::size_t taken(Duration from, Duration to) const {
    return static_cast<std::size_t>(
        std::ranges::count_if(framed.taken, [&](BenchTime t) { return t >= began + from && t < began + to; }));
  }
  Framed framed;
  BenchTime began{};
};

}  // namespace

TEST_CASE("a fault of messages is there from the first message that is due until the first right one") {
  SpoiltRig rig{K::dropped};
  rig.run_with("403 ms", "300 ms");
  CHECK_FALSE(rig.outcome.tripped);
  CHECK(rig.after_begin(EventKind::fault_made) == std::vector<Duration>{403ms});
  CHECK(rig.after_begin(EventKind::fault_removed) == std::vector<Duration>{703ms});
  const auto shown = rig.records.of(EventKind::fault_shown), gone = rig.records.of(EventKind::fault_gone);
  REQUIRE(shown.size() == 1);
  REQUIRE(gone.size() == 1);
  CHECK(shown.front().b == 1);
  CHECK(gone.front().b == 1);
  const auto last_good = *std::prev(std::ranges::lower_bound(rig.framed.taken, rig.began + 403ms));
  CHECK(shown.front().when == last_good + 10ms);
  CHECK(shown.front().value == Approx(seconds(shown.front().when - rig.began - 403ms)).margin(1e-9));
  CHECK(gone.front().when == *std::ranges::lower_bound(rig.framed.taken, rig.began + 703ms));
  CHECK(rig.taken(0ms, 400ms) == 40);
  CHECK(rig.taken(403ms, 703ms) == 0);
  CHECK(rig.taken(710ms, 1000ms) == 29);
}

TEST_CASE("a fault in whose time no message was due was not made") {
  SpoiltRig rig{K::dropped};
  // Frames keep a grid of 10 ms, so that just one of these five stretches of 2 ms holds one.
  rig.run(
      R"([{"do": "parallel", "name": "still", "tracks": [[{"do": "hold", "for": "1 s"}], [{"do": "hold", "for": "101 ms"},
    {"do": "inject", "fault": "spoilt", "for": "2 ms"}, {"do": "hold", "for": "100 ms"},
    {"do": "inject", "fault": "spoilt", "for": "2 ms"}, {"do": "hold", "for": "100 ms"},
    {"do": "inject", "fault": "spoilt", "for": "2 ms"}, {"do": "hold", "for": "100 ms"},
    {"do": "inject", "fault": "spoilt", "for": "2 ms"}, {"do": "hold", "for": "100 ms"},
    {"do": "inject", "fault": "spoilt", "for": "2 ms"}, {"do": "hold", "for": "100 ms"}]]}])");
  CHECK(rig.records.of(EventKind::fault_made).size() == 5);
  CHECK(rig.records.of(EventKind::fault_shown).size() == 1);
  CHECK(rig.records.of(EventKind::fault_not_shown).size() == 4);
  CHECK(rig.records.of(EventKind::fault_gone).size() == 1);
}

TEST_CASE("a fault of messages that comes and goes spares those in its pauses") {
  SpoiltRig rig{K::dropped};
  rig.bench.faults[0].comes_and_goes = Intermittence{100ms, 0.5, 3};
  rig.run_with("200 ms", "600 ms");
  for (auto from = 200ms; from < 800ms; from += 100ms) {
    CHECK(rig.taken(from, from + 100ms) >= 4);
    CHECK(rig.taken(from, from + 100ms) <= 6);
  }
  CHECK(rig.records.of(EventKind::fault_shown).size() == 1);
}

TEST_CASE("the end of a step ends its faults of messages") {
  SpoiltRig rig{K::silent};
  rig.run(R"([{"do": "inject", "name": "short", "fault": "spoilt", "for": "100 ms"},
              {"do": "hold", "name": "right", "for": "500 ms"}])");
  rig.began = rig.records.of(EventKind::step_started).back().when;
  CHECK(rig.taken(0ms, 500ms) >= 49);
}

TEST_CASE("no fault of messages keeps the safe state from arriving") {
  for (int kind = 0; kind <= static_cast<int>(K::babbling); ++kind)
    for (const bool trips : {false, true}) {
      CAPTURE(kind, trips);
      SpoiltRig rig{static_cast<K>(kind), "1 ms"};
      const auto end = zero + 2s;
      if (trips)
        rig.device.angle_script = [&](BenchTime now) { return now >= end ? 160.0 : 0.0; };
      else
        rig.minder.stop_at = end;
      rig.run(R"([{"do": "inject", "name": "long", "fault": "spoilt", "for": "60 s"}])");
      CHECK(rig.outcome.tripped == trips);
      CHECK(rig.records.of(EventKind::fault_shown).size() == 1);
      const auto over = rig.records.of(trips ? EventKind::tripped : EventKind::stop_asked).front().when;
      CHECK(rig.records.of(EventKind::fault_removed).front().when == over);
      // Both writes of the safe state, at once and in order, and nothing older behind them.
      const auto& modes = rig.device.modes;
      REQUIRE(modes.size() >= 3);
      CHECK(modes[modes.size() - 2] == std::pair{over, 3.0});
      CHECK(modes.back().second == 0.0);
      CHECK(modes.back().first <= over + 5ms);
      // The heartbeat: from then on a message each cycle.
      auto last = over;
      for (const auto t : rig.framed.taken) {
        if (t < over) continue;
        CHECK(t - last <= 1ms);
        last = t;
      }
    }
}
