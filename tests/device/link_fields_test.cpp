#include "drivers/device/link_fields.hpp"

#include <map>

#include "tests/catch.hpp"

using namespace trackrod;
using namespace std::chrono_literals;

namespace {

constexpr BenchTime t0{100s};

// A bench whose signal i shows the link field i of device 1.
Bench showing_all() {
  Bench bench;
  bench.devices.resize(2);
  for (const auto& field : link_fields()) {
    auto& s = bench.signals.emplace_back();
    s.info.name = field.name;
    s.field = field.name;
    s.device = 1;
  }
  return bench;
}

struct Last final : SampleSink {
  explicit Last(const Bench& b) : bench{b} {}
  void put(const Sample& s) noexcept override {
    values[bench.signals[s.signal].info.name] = s.value;
    stamps.push_back(s.when);
  }
  const Bench& bench;
  std::map<std::string, double> values;
  std::vector<BenchTime> stamps;
};

}  // namespace

TEST_CASE("each figure of the link is told, those without a value yet are not") {
  const auto bench = showing_all();
  LinkFigures figures{bench, 1};
  Last sink{bench};
  LinkCounters link;
  ProtocolCounters protocol;
  figures.look(t0, BenchTime{}, link, protocol, sink);
  CHECK(sink.values.size() == link_fields().size() - 3);
  CHECK(sink.values.count("link.age") == 0);
  CHECK(sink.values.count("link.cycle_time") == 0);

  link.received_bytes += 640;
  link.dropped_by_kernel += 3;
  link.foreign += 4;
  link.oversized += 1;
  link.send_failures += 2;
  protocol.good = 80;
  protocol.bad_checksum = 5;
  protocol.bad_length = 6;
  protocol.lost = 7;
  protocol.repeated = 8;
  protocol.reordered = 9;
  protocol.wrong_sequence = 10;
  protocol.became_invalid = 11;
  figures.look(t0 + 1ms, t0 + 400us, link, protocol, sink);
  CHECK(sink.values["link.frames"] == 80.0);
  CHECK(sink.values["link.bytes"] == 640.0);
  CHECK(sink.values["link.errors"] == 5.0 + 6.0 + 1.0 + 2.0);
  CHECK(sink.values["link.drops"] == 3.0);
  CHECK(sink.values["link.foreign"] == 4.0);
  CHECK(sink.values["link.lost"] == 7.0);
  CHECK(sink.values["link.repeated"] == 8.0);
  CHECK(sink.values["link.reordered"] == 9.0);
  CHECK(sink.values["link.bad_checksum"] == 5.0);
  CHECK(sink.values["link.wrong_sequence"] == 10.0);
  CHECK(sink.values["link.became_invalid"] == 11.0);
  CHECK(sink.values["link.age"] == Approx(0.6));
}

TEST_CASE("the cycle time is the mean between messages, of fast and of slow devices") {
  const auto bench = showing_all();
  const auto period = GENERATE(Duration{1ms}, Duration{10ms}, Duration{700ms});
  LinkFigures figures{bench, 1};
  Last sink{bench};
  ProtocolCounters protocol;
  for (auto now = t0; now < t0 + 3s; now += 1ms) {
    protocol.good = static_cast<std::uint64_t>((now - t0) / period) + 1;
    figures.look(now, t0 + period * static_cast<Duration::rep>(protocol.good - 1), {}, protocol, sink);
  }
  CHECK(sink.values["link.cycle_time"] == Approx(seconds(period) * 1e3));
}

TEST_CASE("an age is told at every look, a count when it changes and ten times a second") {
  auto bench = showing_all();
  const auto only = [&](const std::string& field) {
    for (auto& s : bench.signals) s.device = s.field == field ? 1 : 0;
    LinkFigures figures{bench, 1};
    Last sink{bench};
    ProtocolCounters protocol;
    for (auto now = t0; now < t0 + 1s; now += 1ms) {
      protocol.lost = now >= t0 + 550ms ? 1 : 0;
      figures.look(now, t0, {}, protocol, sink);
    }
    return sink.stamps;
  };
  CHECK(only("link.age").size() == 1000);
  const auto counts = only("link.lost");
  CHECK(counts.size() == 11);
  CHECK(std::count(counts.begin(), counts.end(), t0 + 550ms) == 1);
}

TEST_CASE("a signal's own unit and calibration apply to a figure too") {
  Bench bench = showing_all();
  for (auto& s : bench.signals) {
    s.gain = 0.001;
    s.offset = 5.0;
  }
  LinkFigures figures{bench, 1};
  Last sink{bench};
  ProtocolCounters protocol;
  protocol.lost = 2000;
  figures.look(t0, t0, {}, protocol, sink);
  CHECK(sink.values["link.lost"] == 7.0);
}
