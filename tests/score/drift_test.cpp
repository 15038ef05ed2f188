// The score `drift` on a gain that is known in every cycle: a level of the input from 0 to 10 and back, an output whose
// gain wanders, grows or jumps from one cycle to the next.

#include "tests/score/drawn.hpp"
#include "tests/score/gain_cycles.hpp"
#include "tests/score/rig.hpp"

namespace trackrod::test {
namespace {

constexpr auto of_gain = R"({"of": {"score": "polarity"}, "finding": "gain"})";

TEST_CASE("a gain that grows evenly shows as that much change") {
  const auto result = score("drift", cycles_with(gains_of(60, 0.0002, {1e-5, 0.0}, 1), 1), of_gain);
  // 59 steps of 0.0002 on a baseline of 20 cycles: 0.1 + 9.5 * 0.0002.
  CHECK(value_of(result, "change") == Approx(100.0 * 59.0 * 0.0002 / (0.1 + 9.5 * 0.0002)).epsilon(0.002));
  CHECK(value_of(result, "ewma_alarms") > 0.0);
  CHECK(value_of(result, "cusum_alarms") > 0.0);
}

TEST_CASE("a gain that stays gives no change beyond what is stated") {
  const auto result = score("drift", cycles_with(gains_of(60, 0.0, {0.001, 0.0}, 2), 2), of_gain);
  const auto f = finding_of(result, "change");
  REQUIRE(f.value);
  CHECK((*f.interval)[0] <= 0.0);
  CHECK((*f.interval)[1] >= 0.0);
}

TEST_CASE("false alarms are as rare as the stated run length makes them", "[many]") {
  // 40 cycles after the baseline at a mean run of 500: about 1 - exp(-40 / 500) = 7.7 % of nights alarm at all; less,
  // since a sum takes a while to grow. Limit: 99.9 % of the binomial, n = 150.
  const std::uint64_t seed = 20260109;
  std::mt19937_64 random{seed};
  int ewma = 0, cusum = 0;
  for (int n = 0; n < 150; ++n) {
    const auto c = cycles_with(gains_of(60, 0.0, {0.001, 0.0}, random()), random());
    const auto result = score("drift", c, of_gain);
    ewma += value_of(result, "ewma_alarms") > 0.0;
    cusum += value_of(result, "cusum_alarms") > 0.0;
  }
  CAPTURE(seed, ewma, cusum);
  CHECK(ewma < 23);
  CHECK(cusum < 23);
}

TEST_CASE("a jump by three standard deviations is found soon after it") {
  auto gains = gains_of(60, 0.0, {0.001, 0.0}, 3);
  for (std::size_t i = 40; i < gains.size(); ++i) gains[i] += 0.003;
  const auto f = finding_of(score("drift", cycles_with(gains, 3), of_gain), "cusum_alarms");
  REQUIRE(f.value);
  CHECK(*f.value > 5.0);
  for (const auto& [name, text] : f.conditions)
    if (name == "first") {
      const double first = std::stod(text.substr(6));
      CHECK(first > 40.0);
      CHECK(first <= 50.0);
    }
}

TEST_CASE("what follows the temperature is taken out") {
  std::mt19937_64 random{4};
  std::normal_distribution<double> normal;
  std::vector<double> gains, warmth;
  for (int i = 0; i < 60; ++i) {
    warmth.push_back(20.0 + 15.0 * (1.0 - std::exp(-i / 20.0)) + normal(random));
    gains.push_back(0.1 + 2e-4 * (warmth.back() - 20.0) + 2e-5 * normal(random));
  }
  auto c = cycles_with(gains, 4);
  c.infos.push_back(info_of(Sensor{}, "motor", "motor"));
  c.infos.back().unit = "degC";
  c.samples.emplace_back();
  for (int i = 0; i < 60; ++i)
    for (int k = 0; k < 10; ++k) {
      Point p;
      p.when = at(i + 0.1 * k);
      p.value = warmth[static_cast<std::size_t>(i)];
      c.samples.back().push_back(p);
    }
  const auto settings = settings_of("drift", of_gain);
  const auto run = [&](bool with) {
    std::vector<std::pair<std::string, SignalIndex>> roles{{"input", SignalIndex{0}}, {"output", SignalIndex{1}}};
    if (with) roles.emplace_back("temperature", SignalIndex{2});
    return *run_score("drift", ScoreInput{c, c.all_spans, roles, settings});
  };
  CHECK(value_of(run(false), "change") > 2.0);
  const auto f = finding_of(run(true), "change");
  REQUIRE(f.value);
  CHECK(std::abs(*f.value) < 0.1);
  CHECK((*f.interval)[0] <= 0.0);
  CHECK((*f.interval)[1] >= 0.0);
}

// NIST/SEMATECH e-Handbook and any table of the success-run formula: 59 trials without a failure demonstrate 0.95 with
// 95 % confidence, (1 - 0.95)^(1/59) = 0.9505. Clopper and Pearson, one of 20 outside: 0.7839 (SciPy: beta.ppf(0.05,
// 19, 2)).
TEST_CASE("reliability is that of the success-run formula, and of Clopper and Pearson with failures") {
  const auto with = [](const std::string& allowed) {
    return R"({"of": {"score": "polarity"}, "finding": "gain", "allowed": )" + allowed + "}";
  };
  const auto none = score("drift", cycles_with(gains_of(59, 0.0, {0.001, 0.0}, 5), 5), with("[0.09, 0.11]"));
  CHECK(value_of(none, "reliability") == Approx(0.9505).margin(5e-5));
  auto gains = gains_of(20, 0.0, {0.001, 0.0}, 6);
  gains[7] = 0.2;
  const auto one = score("drift", cycles_with(gains, 6), with("[0.09, 0.11]"));
  CHECK(value_of(one, "reliability") == Approx(0.7839).margin(5e-5));
  CHECK(value_of(none, "outside") == 0.0);
  CHECK(value_of(one, "outside") == 1.0);
  for (const auto* name : {"reliability", "outside"})
    CHECK(finding_of(score("drift", cycles_with(gains, 6), of_gain), name).reason.find("allowed") != std::string::npos);
}

TEST_CASE("too few cycles, cycles without a value, a finding that is none: each is told") {
  check_all_empty(score("drift", cycles_with(gains_of(7, 0.0, {}, 7), 7), of_gain), "needs 8 cycles");
  auto c = cycles_with(gains_of(30, 0.0, {}, 8), 8);
  check_all_empty(score("drift", c, R"({"of": {"score": "polarity"}, "finding": "gian"})"), "no finding 'gian'");
  // Of the eighth cycle nothing came.
  std::erase_if(c.samples[1], [](const Point& p) { return p.when >= at(7.0) && p.when < at(8.0); });
  const auto f = finding_of(score("drift", c, of_gain), "change");
  CHECK(f.value);
  CHECK(std::any_of(f.conditions.begin(), f.conditions.end(),
                    [](const auto& said) { return said.first == "left_out" && said.second.starts_with("1 cycles"); }));
  for (auto& p : c.samples[0]) p.value = 0.0;
  check_all_empty(score("drift", c, of_gain), "no motion");
}

TEST_CASE("cycles whose samples are gone count by what was worked out while they were there") {
  const auto capture = cycles_with(gains_of(60, 0.0002, {0.001, 0.3}, 9), 9);
  const auto settings =
      settings_of("drift", R"({"of": {"score": "polarity"}, "finding": "gain", "allowed": [0.09, 0.11]})");
  const std::vector<std::pair<std::string, SignalIndex>> roles{{"input", SignalIndex{0}}, {"output", SignalIndex{1}}};
  const auto whole = run_score("drift", ScoreInput{capture, capture.all_spans, roles, settings});
  std::vector<CycleValue> known;
  std::vector<Span> left;
  for (const auto& span : capture.all_spans)
    if (span.cycle % 7 == 0)
      left.push_back(span);
    else
      known.push_back(score_cycle("drift", ScoreInput{capture, {span}, roles, settings}, span.cycle));
  const auto of_both = run_score("drift", ScoreInput{capture, left, roles, settings, known});
  const auto of_known = run_score("drift", ScoreInput{capture, {}, roles, settings, known});
  REQUIRE(whole);
  REQUIRE(of_both);
  REQUIRE(of_known);
  REQUIRE(of_both->findings.size() == whole->findings.size());
  for (std::size_t i = 0; i < whole->findings.size(); ++i) {
    CAPTURE(whole->findings[i].name);
    CHECK(of_both->findings[i].value == whole->findings[i].value);
    CHECK(of_both->findings[i].interval == whole->findings[i].interval);
    CHECK(of_known->findings[i].value);
  }
  CHECK(known.size() + left.size() == 60);
}

TEST_CASE("the charts are drawn with the bounds that alarms go by") {
  const auto result = score("drift", cycles_with(gains_of(60, 0.0002, {1e-5, 0.0}, 1), 1), of_gain);
  const auto& charts = result.figures[1];
  REQUIRE(charts.curves.size() == 3);
  REQUIRE(charts.marks.size() == 2);
  const auto beyond = [&](const std::vector<double>& y, double bound) {
    return static_cast<double>(std::ranges::count_if(y, [&](double v) { return std::abs(v) > bound; }));
  };
  CHECK(beyond(charts.curves[0].y, charts.marks[0].half_width) == value_of(result, "ewma_alarms"));
  CHECK(beyond(charts.curves[1].y, charts.marks[1].value) == value_of(result, "cusum_alarms"));
}

TEST_CASE("the trend is drawn with the interval of the change at its end") {
  const auto result = score("drift", cycles_with(gains_of(60, 0.0002, {1e-5, 0.0}, 1), 1), of_gain);
  const auto change = finding_of(result, "change");
  REQUIRE(result.figures.size() == 2);
  const auto& trend = result.figures[0].curves.back();
  REQUIRE(trend.low.size() == 2);
  const double baseline = result.figures[0].marks[0].value;
  CHECK(trend.y[1] - trend.y[0] == Approx(0.01 * baseline * *change.value));
  CHECK(trend.low[1] - trend.y[0] == Approx(0.01 * baseline * (*change.interval)[0]));
  CHECK(trend.high[1] - trend.y[0] == Approx(0.01 * baseline * (*change.interval)[1]));
}

}  // namespace
}  // namespace trackrod::test
