// The score `degraded` on a unit whose fault, reaction, warning and fallback are known.

#include "harness/score/decision.hpp"
#include "harness/score/fault_onsets.hpp"
#include "tests/score/faulty_unit.hpp"
#include "tests/score/rig.hpp"

namespace trackrod::test {
namespace {

constexpr double tolerance = 1.0;
constexpr auto settings =
    R"({"healthy": [4, 6], "tolerance": 1, "right": [4, 6], "none": [0, 2], "detected": [1, 1],
        "fault_tolerant_time": "200 ms"})";

FaultSensors usual_sensors() {
  FaultSensors s;
  s.feed.noise = 0.01, s.road.noise = 0.004, s.hand.noise = 0.01;
  s.feed.phase = 0.0002, s.road.phase = 0.0005, s.hand.phase = 0.0007;
  return s;
}
FaultRecord usual(const FaultyUnit& unit = {}, int count = 3) {
  std::mt19937_64 random{7};
  return record_faults(unit, fault_times(count, 1.6, 1.7, 4.0, random), 4.0 * count + 0.2, usual_sensors(), tolerance,
                       11);
}

void check_holds(const ScoreResult& result, const std::string& name, double truth) {
  const auto f = finding_of(result, name);
  CAPTURE(f.name, f.reason, truth);
  REQUIRE(f.value);
  CAPTURE(*f.value, (*f.interval)[0], (*f.interval)[1]);
  CHECK((*f.interval)[0] <= truth);
  CHECK(truth <= (*f.interval)[1]);
}

TEST_CASE("reaction, warning, departure, what is left and what comes back are those of the unit") {
  const auto r = usual();
  const auto result = score_faults(r.capture, settings);
  const double reaction = 1e3 * *std::max_element(r.truth.reaction.begin(), r.truth.reaction.end());
  REQUIRE(reaction > 40.0);
  CHECK(value_of(result, "faults") == 3.0);
  check_holds(result, "reaction_time", reaction);
  CHECK(value_of(result, "reaction_time") == Approx(reaction).margin(2.0));
  check_holds(result, "margin", 200.0 - reaction);
  CHECK(value_of(result, "unhandled") == 0.0);
  // The frame that shows it comes up to 10 ms after the unit set it.
  CHECK(value_of(result, "warning_time") >= 30.0);
  CHECK((*finding_of(result, "warning_time").interval)[1] <= 30.0 + 10.0 + 1.1);
  CHECK(value_of(result, "detection_time") == value_of(result, "warning_time"));
  CHECK(value_of(result, "right_warnings") == 100.0);
  for (const auto* none :
       {"wrong_warnings", "missing_warnings", "false_warnings", "lapsed_warnings", "lasting_warnings"})
    CHECK(value_of(result, none) == 0.0);
  check_holds(result, "departure", r.truth.departure);
  CHECK(value_of(result, "gain_left") == Approx(95.0).margin(0.3));
  CHECK(value_of(result, "lag_added") == Approx(10.0).margin(0.5));
  CHECK(value_of(result, "gain_returned") == Approx(100.0).margin(0.3));
  CHECK(value_of(result, "recovery_time") == Approx(300.0).margin(8.0));
}

TEST_CASE("faults that the plan injects are found in the run's own events, with what their instants leave open") {
  auto r = usual();
  std::mt19937_64 random{7};
  const auto times = fault_times(3, 1.6, 1.7, 4.0, random);
  const auto add = [&](double t, EventKind kind) { r.capture.all_events.push_back({at(t), 0.0, 3, 0, kind}); };
  for (const auto& f : times) {
    add(f.from - 0.004, EventKind::fault_made);
    add(f.from + 0.0005, EventKind::fault_shown);
    add(f.to - 0.004, EventKind::fault_removed);
    add(f.to + 0.0005, EventKind::fault_gone);
  }
  const std::vector<std::string> no_input{"output", "reference", "warning", "detection"};
  const auto result = score_faults(r.capture, settings, no_input);
  CHECK(value_of(result, "faults") == 3.0);
  check_holds(result, "reaction_time", 1e3 * *std::max_element(r.truth.reaction.begin(), r.truth.reaction.end()));
  CHECK(value_of(result, "right_warnings") == 100.0);
  check_holds(result, "departure", r.truth.departure);

  SECTION("one that the bench did not see is none of them, and their number is not given") {
    add(times[1].from + 0.1, EventKind::fault_not_shown);
    std::ranges::sort(r.capture.all_events, {}, &Event::when);
    const auto partly = score_faults(r.capture, settings, no_input);
    CHECK(finding_of(partly, "faults").reason.find("did not see") != std::string::npos);
    CHECK(value_of(partly, "right_warnings") == 100.0);
  }
  SECTION("when none was seen nothing was run") {
    std::erase_if(r.capture.all_events, [](const Event& e) { return e.kind != EventKind::fault_made; });
    for (const auto& f : times) add(f.from + 0.1, EventKind::fault_not_shown);
    std::ranges::sort(r.capture.all_events, {}, &Event::when);
    const auto f = finding_of(score_faults(r.capture, settings, no_input), "reaction_time");
    CHECK(f.verdict == Verdict::not_run);
    CHECK(f.reason.find("did not see") != std::string::npos);
  }
}

TEST_CASE("a fault of messages begins with its first wrong message and ends with the first right one, to the tick") {
  auto r = usual();
  std::mt19937_64 random{7};
  const auto times = fault_times(3, 1.6, 1.7, 4.0, random);
  const auto add = [&](double t, EventKind kind, std::uint32_t b) {
    r.capture.all_events.push_back({at(t), 0.0, 3, b, kind});
  };
  for (const auto& f : times) {
    add(f.from - 0.009, EventKind::fault_made, 0);  // most of a cycle before a message is due
    add(f.from - 0.0005, EventKind::fault_shown, 1);
    add(f.to - 0.009, EventKind::fault_removed, 0);
    add(f.to - 0.0005, EventKind::fault_gone, 1);
  }
  r.capture.quality.tick = std::chrono::milliseconds{1};
  const auto made = faults_made_in(r.capture, Span{"", 0, at(0.0), at(15.0)});
  REQUIRE(made.found.size() == 3);
  for (std::size_t i = 0; i < 3; ++i) {
    const auto& [begin, end, bounces] = made.found[i];
    CHECK(begin.t == Approx(times[i].from).margin(1e-6));
    CHECK(begin.half_width == Approx(0.0005).margin(1e-6));
    REQUIRE(end);
    CHECK(end->t == Approx(times[i].to).margin(1e-6));
    CHECK(end->half_width == Approx(0.0005).margin(1e-6));
  }
}

TEST_CASE("play passes for neither gain nor lag, also in a fault that is too short to show it") {
  FaultyUnit unit;
  unit.play = 0.25;
  std::mt19937_64 random{7};
  const auto faults = fault_times(4, 1.6, 1.3, 3.7, random);
  const auto result = score_faults(record_faults(unit, faults, 15.0, usual_sensors(), tolerance, 11).capture, settings);
  CHECK(value_of(result, "gain_left") == Approx(95.0).margin(0.15));
  CHECK(value_of(result, "lag_added") == Approx(10.0).margin(0.5));
  CHECK(*finding_of(result, "lag_added").standard_uncertainty < 0.3);
  CHECK(value_of(result, "gain_returned") == Approx(100.0).margin(0.15));
}

TEST_CASE("the time line shows onset, detection, warning and reaction, each with its interval") {
  const auto result = score_faults(usual().capture, settings);
  REQUIRE_FALSE(result.figures.empty());
  for (const auto* label : {"onset", "detected", "warning", "in hand"}) {
    const auto& marks = result.figures[0].marks;
    const auto mark = std::find_if(marks.begin(), marks.end(), [&](const Mark& m) { return m.label == label; });
    CAPTURE(label);
    REQUIRE(mark != marks.end());
    CHECK(mark->axis == 'x');
    CHECK(mark->half_width > 0.0);
  }
}

TEST_CASE("a fault that did not take is not run, and never a pass") {
  std::mt19937_64 random{7};
  auto r = record_faults({}, {}, 4.0, usual_sensors(), tolerance, 3);
  for (auto& f : score_faults(r.capture, settings).findings) {
    CAPTURE(f.name, f.reason);
    CHECK_FALSE(f.value);
    CHECK(f.reason.find("did not take") != std::string::npos);
    judge(f, {Limit::Kind::at_least, 0.0, 0.0}, Rule::simple, "");
    CHECK(f.verdict == Verdict::not_run);
  }
  // Of four inserted, three took.
  const auto f =
      finding_of(score_faults(usual().capture, R"({"healthy": [4, 6], "tolerance": 1, "inserted": 4})"), "faults");
  CHECK_FALSE(f.value);
  CHECK(f.reason.find("4 were to be inserted, and 3") != std::string::npos);
}

TEST_CASE("an onset before the recording is not one") {
  auto r = usual({}, 1);
  r.capture.all_spans[0].from = at(2.0);  // in the midst of the fault
  check_all_empty(score_faults(r.capture, settings), "before the step began");
}

TEST_CASE("a unit that does not react has no reaction time, and counts as unhandled") {
  FaultyUnit unit;
  unit.reacts = false;
  const auto result = score_faults(usual(unit).capture, settings);
  for (const auto* name : {"reaction_time", "reaction_bound", "margin"}) {
    auto f = finding_of(result, name);
    CHECK_FALSE(f.value);
    CHECK(f.reason.find("3 of 3") != std::string::npos);
    judge(f, {Limit::Kind::at_most, 0.0, 1e6}, Rule::guarded, "");
    CHECK(f.verdict == Verdict::inconclusive);
  }
  CHECK(value_of(result, "unhandled") == 3.0);
}

TEST_CASE("warnings: missing, wrong, shown before, false: each is counted, and there is no time of a right one") {
  FaultyUnit mute;
  mute.code = 0.0;
  auto result = score_faults(usual(mute).capture, settings);
  CHECK(value_of(result, "missing_warnings") == 3.0);
  CHECK(value_of(result, "right_warnings") == 0.0);
  auto time = finding_of(result, "warning_time");
  CHECK_FALSE(time.value);
  judge(time, {Limit::Kind::at_most, 0.0, 1e6}, Rule::guarded, "");
  CHECK(time.verdict == Verdict::inconclusive);
  auto missing = finding_of(result, "missing_warnings");
  judge(missing, {Limit::Kind::at_most, 0.0, 0.0}, Rule::guarded, "");
  CHECK(missing.verdict == Verdict::fail);

  FaultyUnit wrong;
  wrong.code = 1.0;
  result = score_faults(usual(wrong).capture, settings);
  CHECK(value_of(result, "wrong_warnings") == 3.0);
  CHECK_FALSE(finding_of(result, "warning_time").value);

  auto r = usual();
  for (auto& p : r.capture.samples[3])
    if (p.when > at(0.5) && p.when < at(0.7)) p.value = 4.0;
  CHECK(value_of(score_faults(r.capture, settings), "false_warnings") == 1.0);
  for (auto& p : r.capture.samples[3]) p.value = 4.0;
  result = score_faults(r.capture, settings);
  CHECK(value_of(result, "right_warnings") == 0.0);
  CHECK_FALSE(finding_of(result, "warning_time").value);
}

TEST_CASE("a warning that goes off with the fault still there has lapsed, one that stays after it lasts") {
  const auto on_between = [](double from, double to) {
    auto r = record_faults({}, {{1.6, 3.0}}, 6.0, usual_sensors(), tolerance, 11);
    for (auto& p : r.capture.samples[3]) p.value = p.when > at(from) && p.when < at(to) ? 4.0 : 0.0;
    return score_faults(r.capture, settings);
  };
  auto result = on_between(1.65, 2.5);
  CHECK(value_of(result, "lapsed_warnings") == 1.0);
  CHECK(value_of(result, "lasting_warnings") == 0.0);
  CHECK(value_of(result, "right_warnings") == 100.0);
  result = on_between(1.65, 9.0);
  CHECK(value_of(result, "lapsed_warnings") == 0.0);
  CHECK(value_of(result, "lasting_warnings") == 1.0);
  result = on_between(1.65, 4.0);
  CHECK(value_of(result, "lapsed_warnings") == 0.0);
  CHECK(value_of(result, "lasting_warnings") == 0.0);
}

TEST_CASE("where no fault is to be inserted every warning is a false one") {
  const auto none = R"({"healthy": [4, 6], "tolerance": 1, "right": [4, 6], "none": [0, 2], "inserted": 0})";
  auto r = record_faults({}, {}, 4.0, usual_sensors(), tolerance, 3);
  CHECK(value_of(score_faults(r.capture, none), "faults") == 0.0);
  CHECK(value_of(score_faults(r.capture, none), "false_warnings") == 0.0);
  for (auto& p : r.capture.samples[3])
    if ((p.when > at(0.5) && p.when < at(0.7)) || p.when > at(3.0)) p.value = 4.0;
  CHECK(value_of(score_faults(r.capture, none), "false_warnings") == 2.0);
  // One that took, none the less, is no measurement of a healthy unit.
  const auto f = finding_of(score_faults(usual().capture, none), "faults");
  CHECK_FALSE(f.value);
  CHECK(f.reason.find("0 were to be inserted, and 3") != std::string::npos);
}

TEST_CASE("a polled warning lies between its last clear and its first set poll") {
  auto sensors = usual_sensors();
  sensors.warning_interval = 0.5;
  std::mt19937_64 random{7};
  FaultyUnit unit;
  unit.warns_after = 0.4;
  const auto r = record_faults(unit, {{1.63, 3.4}}, 5.0, sensors, tolerance, 11);
  const auto f = finding_of(score_faults(r.capture, settings), "warning_time");
  REQUIRE(f.value);
  CHECK((*f.interval)[1] - (*f.interval)[0] > 400.0);
  check_holds(score_faults(r.capture, settings), "warning_time", 400.0);
}

TEST_CASE("missing samples at the onset make it as uncertain as they are long") {
  auto r = usual({}, 1);
  const double truth = 1e3 * r.truth.reaction[0];
  std::optional<BenchTime> onset;
  for (const auto& p : r.capture.samples[0])
    if (p.value < 2.5 && !onset) onset = p.when;
  std::erase_if(r.capture.samples[0], [&](const Point& p) {
    return p.when > *onset - from_seconds(0.02) && p.when < *onset + from_seconds(0.01);
  });
  const auto result = score_faults(r.capture, settings);
  check_holds(result, "reaction_time", truth);
  const auto f = finding_of(result, "reaction_time");
  CHECK((*f.interval)[1] - (*f.interval)[0] > 29.0);
}

TEST_CASE("a contact that bounces begins one fault, at its first break, and the bounces are told") {
  auto r = usual({}, 1);
  const double truth = 1e3 * r.truth.reaction[0];
  std::optional<BenchTime> onset;
  for (auto& p : r.capture.samples[0]) {
    if (p.value < 2.5 && !onset) onset = p.when;
    if (!onset) continue;
    const double since = seconds(p.when - *onset);
    if ((since > 0.0015 && since < 0.0035) || (since > 0.0055 && since < 0.0065)) p.value = 5.0;
  }
  const auto result = score_faults(r.capture, settings);
  CHECK(value_of(result, "faults") == 1.0);
  CHECK(finding_of(result, "faults").conditions.back().second.find("2") != std::string::npos);
  check_holds(result, "reaction_time", truth);
}

TEST_CASE("a frozen output, one that always was safe, a fault too short: each is told") {
  auto r = usual();
  double last = 0.0;
  for (auto& p : r.capture.samples[1]) {
    if (p.when > at(2.0) && p.when < at(2.5)) p.value = last;
    last = p.value;
  }
  CHECK(finding_of(score_faults(r.capture, settings), "reaction_time").reason.find("frozen") != std::string::npos);
  CHECK(finding_of(score_faults(usual().capture, R"({"healthy": [4, 6], "safe": [-50, 50]})"), "reaction_time")
            .reason.find("was within 'safe' before") != std::string::npos);
  CHECK(finding_of(score_faults(usual().capture, R"({"healthy": [4, 6], "tolerance": 1, "hold": "20 s"})"),
                   "reaction_time")
            .reason.find("long enough") != std::string::npos);
  CHECK(finding_of(score_faults(usual().capture, R"({"healthy": [4, 6], "tolerance": 0.001})"), "reaction_time")
            .reason.find("fills the bounds") != std::string::npos);
  CHECK(finding_of(score_faults(usual().capture, settings, {"input", "output"}), "reaction_time")
            .reason.find("reference") != std::string::npos);
}

// Own example: fault at 0, flag after 12 ms, output below its bound after 31 ms, fault-tolerant time 50 ms. In the
// terms of ISO 26262-1:2018 the fault is detected within 12 ms and handled within 31 ms, with 19 ms to spare.
TEST_CASE("a torque that falls to nearly none is in hand when it stays there") {
  KnownCapture c;
  c.infos = {info_of({}, "feed", "io"), info_of({}, "torque", "io"), info_of({}, "none", "io"),
             info_of({}, "warning", "unit"), info_of({}, "flag", "unit")};
  std::mt19937_64 random{5};
  const auto add = [&](double noise, const Motion& world) {
    Sensor s;
    s.noise = noise;
    s.interval = 0.0005, s.phase = 0.0001;
    return sense(s, world, 1.0, random);
  };
  const auto step = [](double from, double to, double when) {
    return [=](double t) { return t < 0.5 + when ? from : to; };
  };
  const auto torque = [](double t) { return t < 0.5 ? 3.0 : t < 0.531 ? 3.0 + 40.0 * (t - 0.5) : 0.02; };
  c.samples = {add(0.01, step(5.0, 0.0, 0.0)),
               add(0.01, torque),
               {},
               add(0.0, step(0.0, 4.0, 0.012)),
               add(0.0, step(0.0, 1.0, 0.012))};
  c.all_spans = {{"fault", 0, at(0.0), at(0.9), true}};
  const auto result =
      score_faults(c, R"({"healthy": [4, 6], "safe": [-0.2, 0.2], "detected": [1, 1], "right": [4], "none": [0],
                          "fault_tolerant_time": "50 ms"})",
                   {"input", "output", "warning", "detection"});
  check_holds(result, "detection_time", 12.0);
  check_holds(result, "warning_time", 12.0);
  check_holds(result, "reaction_time", 31.0);
  check_holds(result, "margin", 19.0);
  CHECK(value_of(result, "margin") == Approx(19.0).margin(0.6));
  CHECK(finding_of(result, "recovery_time").reason.find("no fault was cleared") != std::string::npos);
}

TEST_CASE("59 faults tell a bound for 95 % of all, fewer say how many it takes", "[many]") {
  const auto few = finding_of(score_faults(usual().capture, settings), "reaction_bound");
  CHECK_FALSE(few.value);
  CHECK(few.reason.find("it takes 59") != std::string::npos);
  std::mt19937_64 random{3};
  const auto r =
      record_faults({}, fault_times(59, 1.0, 0.6, 1.8, random), 1.8 * 59 + 1.0, usual_sensors(), tolerance, 9);
  const auto result =
      score_faults(r.capture, R"({"healthy": [4, 6], "tolerance": 1, "hold": "50 ms", "settle": "400 ms"})");
  CHECK(value_of(result, "reaction_bound") == value_of(result, "reaction_time"));
}

}  // namespace
}  // namespace trackrod::test
