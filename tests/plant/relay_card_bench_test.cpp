// The bench with a relay card over SCPI: the card's channels are those of the bench file.

#include "tests/plant/both_ends.hpp"

using namespace trackrod;
using trackrod::test::Both;
using namespace std::chrono_literals;

namespace {

constexpr std::array broken_wires{Wire::hand_a, Wire::hand_b, Wire::feed_main};

std::string_view fault_of_wire(Wire wire) { return wire_names[static_cast<std::size_t>(wire)].fault; }
std::string volts_of_wire(Wire wire) { return std::string{wire_names[static_cast<std::size_t>(wire)].volts}; }

Sources card_bench() {
  const auto sources = load_bench_sources(TRACKROD_SOURCE_DIR "/fixtures/demo_bench/bench-relays-scpi.json");
  REQUIRE(sources);
  return *sources;
}

std::string replaced(std::string text, const std::string& from, const std::string& to) {
  const auto at = text.find(from);
  return at == std::string::npos ? text : text.replace(at, from.size(), to);
}

// The bench file with one text in place of another.
Sources changed(const std::string& from, const std::string& to) {
  auto sources = card_bench();
  for (auto& [name, text] : sources) text = replaced(text, from, to);
  return sources;
}

std::string refusal(const Sources& sources) {
  auto parsed = test::parse(sources);
  INFO(parsed.sentences());
  REQUIRE(parsed.bench);
  std::vector<std::unique_ptr<Link>> far_ends;
  for (const auto& wire : make_wires(*parsed.bench, 1)) far_ends.push_back(wire.far_end());
  const auto made = SimulatedBench::make(*parsed.bench, Truth{}, 1, std::move(far_ends), BenchTime{1s});
  return made ? "" : made.error().context;
}

void arm(Both& both) {
  for (const auto wire : broken_wires) both.drive(std::string{fault_of_wire(wire)}, 0.0);
  both.drive("fault.relay", 0.0);
  both.arm();
}

}  // namespace

TEST_CASE("over the card each wire is broken in each way and measured, and its own alone") {
  // What the bench measures of a wire of 5 V, and of a feed of 13.5 V, by docs/simulated-bench.md.
  const std::array of_signal{5.0, 1.0, 0.0, 12.0, 3.0, 4.0}, of_feed{13.5, 1.0, 0.0, 12.0, 0.0, 0.8 * 13.5};
  for (const auto wire : broken_wires) {
    Both both{Truth{}, card_bench()};
    arm(both);
    for (const std::size_t way : {1U, 2U, 3U, 4U, 5U, 1U, 0U}) {
      CAPTURE(fault_of_wire(wire), way);
      both.drive(std::string{fault_of_wire(wire)}, static_cast<double>(way));
      both.run(60ms);
      CHECK(both.settled(std::string{fault_of_wire(wire)}));
      for (const auto other : broken_wires) {
        const auto& volts = other == Wire::feed_main ? of_feed : of_signal;
        CHECK(both.value(volts_of_wire(other)) == Approx(volts[other == wire ? way : 0]).margin(0.3));
      }
    }
  }
}

TEST_CASE("a card of which the simulated one cannot be made is refused with what would do") {
  CHECK(refusal(card_bench()).empty());
  CHECK(refusal(changed(R"("101", "102")", R"("1!1", "102")")).find("numbers of one dimension") != std::string::npos);
  CHECK(refusal(changed("MEAS:VOLT? (@100)", "MEAS:VOLT?")).find("each at one channel") != std::string::npos);
  CHECK(refusal(changed("MEAS:VOLT? (@100)", "MEAS:VOLT? (@100:101)")).find("each at one channel") !=
        std::string::npos);
  CHECK(refusal(changed(R"("feed_main": {"ways": ["301", "302", "303", "304", "305"]}
        },)",
                        R"("another": {"channels": "301"}
        },
        "settings": {"feed_main": {"write": "FEED {}"}},)"))
            .find("none of 'relays'") != std::string::npos);
}
