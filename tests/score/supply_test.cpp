// The score `supply` on a unit in closed form: it holds out for a time below its threshold, then stops; it works again
// a start time after the voltage is back at a higher one.

#include "tests/score/drawn.hpp"
#include "tests/score/fed_unit.hpp"
#include "tests/score/rig.hpp"
#include "tests/score/staircase.hpp"

namespace trackrod::test {
namespace {

constexpr auto settings = R"({"below": 6.5, "working": [2, 3]})";

TEST_CASE("the longest drop-out ridden through lies between the last one survived and the first one that was not") {
  const auto result = score("supply", fed({}, drops({0.01, 0.02, 0.03, 0.045, 0.055, 0.08}), 1), settings);
  const auto f = finding_of(result, "ridden_through");
  INFO(f.reason);
  REQUIRE(f.value);
  CHECK(*f.value == Approx(50.0).margin(3.0));
  CHECK((*f.interval)[0] <= 50.0);
  CHECK((*f.interval)[1] >= 50.0);
  // It stops 50 ms after the voltage went below 6.5 V, and works again 300 ms after it came back.
  CHECK(value_of(result, "reset_time") == Approx(50.0).margin(4.0));
  CHECK(value_of(result, "recovery_time") == Approx(300.0).margin(4.0));
  CHECK(value_of(result, "functional_class") == 3.0);
}

TEST_CASE("a slow ramp shows at which voltage the unit stops and from which it works") {
  Fed unit;
  unit.hold_out = 0.0, unit.start_time = 0.0;
  const auto c = fed(unit, {{-1.0, 12.0}, {1.0, 12.0}, {9.0, 4.0}, {17.0, 12.0}, {18.0, 12.0}}, 2);
  const auto result = score("supply", c, R"({"below": 9, "working": [2, 3]})");
  for (const auto& [name, truth] : {std::pair{"stops_at", 6.5}, {"works_from", 8.0}}) {
    const auto f = finding_of(result, name);
    CAPTURE(name, f.reason);
    REQUIRE(f.value);
    CHECK(*f.value == Approx(truth).margin(0.02));
    CHECK((*f.interval)[0] <= truth);
    CHECK((*f.interval)[1] >= truth);
  }
}

TEST_CASE("steps that follow each other at once are read as one, so that one may go down and the next one up") {
  const auto whole = fed({}, drops({0.02, 0.08}), 7);
  auto cut = whole;
  cut.all_spans = {
      {"down", 0, at(0.0), at(1.01), true}, {"up", 0, at(1.01), at(3.05), true}, {"down", 1, at(3.05), at(5.1), true}};
  CHECK(value_of(score("supply", cut, settings), "ridden_through") ==
        value_of(score("supply", whole, settings), "ridden_through"));
}

TEST_CASE("a unit that works throughout, and one that stays away, have their class") {
  Fed tough;
  tough.hold_out = 10.0;
  const auto a = score("supply", fed(tough, drops({0.02, 0.2}), 3), settings);
  CHECK(value_of(a, "functional_class") == 1.0);
  CHECK(value_of(a, "ridden_through") == Approx(200.0).margin(4.0));
  CHECK(finding_of(a, "stops_at").reason.find("throughout") != std::string::npos);
  Fed gone;
  gone.returns = false;
  const auto d = score("supply", fed(gone, drops({0.02, 0.2}), 4), settings);
  CHECK(value_of(d, "functional_class") == 4.0);
  CHECK(finding_of(d, "recovery_time").reason.find("did not come back") != std::string::npos);
}

TEST_CASE("a unit that falls silent has stopped") {
  auto c = fed({}, drops({0.2}), 5);
  std::erase_if(c.samples[1], [](const Point& p) { return std::isnan(p.value); });
  const auto result = score("supply", c, settings);
  CHECK(value_of(result, "functional_class") == 3.0);
  CHECK(value_of(result, "recovery_time") == Approx(300.0).margin(5.0));
}

TEST_CASE("lengths that do not decide, no drop-out, a unit that was off before: each is told") {
  auto c = fed({}, drops({0.02, 0.2, 0.03}), 6);
  // After the short ones it is away, after the long one it is not.
  for (auto& p : c.samples[1]) p.value = p.when > at(1.005) && p.when < at(1.3) ? std::nan("") : 2.0;
  CHECK(finding_of(score("supply", c, settings), "ridden_through").reason.find("does not decide") != std::string::npos);
  check_all_empty(score("supply", fed({}, {{-1.0, 13.0}, {3.0, 13.1}}, 6), settings), "no drop-out");
  for (auto& p : c.samples[1]) p.value = std::nan("");
  check_all_empty(score("supply", c, settings), "did not work before");
  c.all_spans.clear();
  for (const auto& f : score("supply", c, settings).findings) CHECK(f.verdict == Verdict::not_run);
}

TEST_CASE("a unit that stops at once stops in the drop-out that begins, not in the one before") {
  Fed unit;
  unit.hold_out = 0.0;
  const auto result = score("supply", fed(unit, drops({0.05, 0.05, 0.05, 0.05, 0.05}), 8), settings);
  for (const auto& [name, what] : finding_of(result, "ridden_through").conditions)
    if (name == "drop_outs" || name == "lost_in") CHECK(what == "5");
  CHECK(value_of(result, "reset_time") == Approx(0.0).margin(4.0));
}

// A unit that stops at once below 6.5 V.
Fed without_reserve() {
  Fed unit;
  unit.hold_out = 0.0;
  return unit;
}
std::vector<Dip> as_deep_as(const std::vector<double>& volts) {
  std::vector<Dip> all;
  for (const double v : volts) all.push_back({0.1, v});
  return all;
}
constexpr auto of_dips = R"({"below": 9, "working": [2, 3]})";

TEST_CASE("the lowest voltage survived lies between the lowest dip survived and the highest one that was not") {
  const auto dipped = fed(without_reserve(), dips(as_deep_as({8.0, 5.0, 7.0, 6.0, 6.8, 6.3}), 2.0), 11);
  const auto f = finding_of(score("supply", dipped, of_dips), "lowest_survived");
  INFO(f.reason);
  REQUIRE(f.value);
  CHECK(f.unit == "V");
  CHECK(*f.value == Approx(6.55).margin(0.01));
  CHECK((*f.interval)[0] <= 6.5);
  CHECK((*f.interval)[1] >= 6.5);
  CHECK(*f.standard_uncertainty == Approx(0.25 / std::sqrt(3.0)).margin(0.01));
}

TEST_CASE("a limit that scatters from try to try is found all the same, of a length and of a voltage") {
  const std::uint64_t seed = 7;
  CAPTURE(seed);
  std::mt19937_64 random{seed};
  for (const bool of_length : {true, false}) {
    // Levels of 2 ms and 50 mV, and a scatter of one.
    const auto stairs = staircase(30, 70.0, 1.0, random);
    std::vector<Dip> all;
    for (const auto& [level, survived] : stairs)
      all.push_back(of_length ? Dip{0.002 * (level + 1)} : Dip{0.1, 9.0 - 0.05 * level});
    std::vector<double> ends;
    for (double t = 1.0; const auto& dip : all) ends.push_back(t += dip.length + 1.0);
    // What it bears just then: more or less than the dip.
    const auto bears = [&](double t) {
      return stairs[std::min<std::size_t>(std::lower_bound(ends.begin(), ends.end(), t) - ends.begin(), 29)].second;
    };
    Fed unit = without_reserve();
    if (of_length)
      unit.longer = [&](double t) { return bears(t) ? 1.0 : 0.001; };
    else
      unit.stops_below = 0.0, unit.sooner = [&](double t) { return bears(t) ? 0.0 : 8.95; };
    const auto result = score("supply", fed(unit, dips(all, 1.0), 12), of_length ? settings : of_dips);
    const auto f = finding_of(result, of_length ? "ridden_through" : "lowest_survived");
    const double limit = of_length ? 142.0 : 5.5, level = of_length ? 2.0 : 0.05;
    CAPTURE(of_length, f.reason);
    REQUIRE(f.value);
    CHECK((*f.interval)[0] <= limit);
    CHECK((*f.interval)[1] >= limit);
    CHECK((*f.interval)[1] - (*f.interval)[0] < 4.0 * level);
    CHECK(f.budget[0].name == "scatter from try to try");
  }
}

TEST_CASE("dips that tell nothing of the lowest voltage: of unlike length, equally deep, all survived, all lost") {
  const auto found = [](const std::vector<Dip>& all) {
    return finding_of(score("supply", fed(without_reserve(), dips(all, 2.0), 13), of_dips), "lowest_survived");
  };
  const auto unlike = found({{0.10, 7.0}, {0.13, 6.0}});
  CHECK_FALSE(unlike.value);
  CHECK(unlike.reason.find("lengths that differ by 20 % at the most") != std::string::npos);
  CHECK(found(as_deep_as({5.0, 6.0})).reason.find("none was survived; the highest: ") != std::string::npos);
  const auto all = found(as_deep_as({8.0, 7.0}));
  REQUIRE(all.value);
  CHECK(*all.value == Approx(7.0).margin(0.01));
  CHECK(std::any_of(all.conditions.begin(), all.conditions.end(), [](const auto& c) { return c.first == "all"; }));

  Fed moody = without_reserve();
  moody.sooner = [](double t) { return t < 2.5 ? 1.0 : 0.0; };
  const auto level =
      finding_of(score("supply", fed(moody, dips(as_deep_as({7.0, 7.0}), 2.0), 14), of_dips), "lowest_survived");
  CHECK_FALSE(level.value);
  CHECK(level.reason.find("try deeper and less deep ones") != std::string::npos);
}

const std::vector<std::pair<std::string, SignalIndex>> with_feed{
    {"input", SignalIndex{0}}, {"output", SignalIndex{1}}, {"feed", SignalIndex{2}}};

TEST_CASE("when one feed drops and the other one carries: how long the voltage is below, how low it is, who goes on") {
  // 10 V is crossed on the way down after 10 x 3.5 / 4.5 ms, on the way up after 10 + 5 x 1 / 3.8 ms.
  const double below = 10.0 + 5.0 / 3.8 - 10.0 * 3.5 / 4.5;
  const auto result = score("supply", two_feeds({}, 9.0, 4, 21), R"({"below": 10, "working": [2, 3]})", with_feed);
  const auto time = finding_of(result, "changeover_time");
  REQUIRE(time.value);
  CHECK((*time.interval)[0] <= below);
  CHECK((*time.interval)[1] >= below);
  CHECK((*time.interval)[1] - (*time.interval)[0] <= 4.1);  // two ends between samples of 1 ms, and a sample besides
  const auto dip = finding_of(result, "changeover_dip");
  REQUIRE(dip.value);
  CHECK((*dip.interval)[0] <= 9.0);
  CHECK((*dip.interval)[1] >= 9.0);
  CHECK(*dip.value == Approx(9.0).margin(0.5));
  CHECK(value_of(result, "changeover_lost") == 0.0);
}

TEST_CASE("a unit that does not bear the changeover is counted; one that never dips is below for less than a sample") {
  Fed weak;
  weak.stops_below = 9.5, weak.hold_out = 0.0, weak.starts_from = 13.0;
  CHECK(value_of(score("supply", two_feeds(weak, 9.0, 3, 5), R"({"below": 10, "working": [2, 3]})", with_feed),
                 "changeover_lost") == 3.0);
  const auto firm = score("supply", two_feeds({}, 12.0, 2, 6), R"({"below": 10, "working": [2, 3]})", with_feed);
  const auto time = finding_of(firm, "changeover_time");
  REQUIRE(time.value);
  CHECK((*time.interval)[0] == 0.0);
  CHECK((*time.interval)[1] <= 2.1);
  CHECK(value_of(firm, "changeover_dip") == Approx(12.0).margin(0.2));
}

TEST_CASE("no feed, one that does not drop, and a unit that was off: each is told") {
  for (const auto* name : {"changeover_time", "changeover_dip", "changeover_lost"}) {
    CAPTURE(name);
    CHECK(finding_of(score("supply", fed({}, drops({0.02}), 1), settings), name).reason.find("'feed'") !=
          std::string::npos);
    auto c = two_feeds({}, 9.0, 2, 7);
    for (auto& p : c.samples[2]) p.value = 13.5;
    CHECK(finding_of(score("supply", c, settings, with_feed), name).reason.find("did not drop") != std::string::npos);
    c = two_feeds({}, 9.0, 2, 7);
    for (auto& p : c.samples[1]) p.value = std::nan("");
    CHECK(finding_of(score("supply", c, settings, with_feed), name).reason.find("did not work before") !=
          std::string::npos);
  }
}

TEST_CASE("the time line of a drop-out marks when and at which voltage the unit stopped and worked again") {
  Fed unit;
  unit.hold_out = 0.0, unit.start_time = 0.0;
  const auto c = fed(unit, {{-1.0, 12.0}, {1.0, 12.0}, {9.0, 4.0}, {17.0, 12.0}, {18.0, 12.0}}, 2);
  const auto result = score("supply", c, R"({"below": 9, "working": [2, 3]})");
  check_marked(result, "stops at", finding_of(result, "stops_at"));
  check_marked(result, "works from", finding_of(result, "works_from"));
  std::vector<std::string> instants;
  for (const auto& mark : result.figures[0].marks)
    if (mark.axis == 'x') instants.push_back(mark.label);
  CHECK(instants == std::vector<std::string>{"below", "stops", "above", "works"});
}

}  // namespace
}  // namespace trackrod::test
