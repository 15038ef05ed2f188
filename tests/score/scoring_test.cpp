// What all scores have in common, the score `bus`, and the helpers behind them.

#include <set>

#include "harness/score/figure.hpp"
#include "harness/score/findings.hpp"
#include "harness/score/series.hpp"
#include "harness/score/shared_intervals.hpp"
#include "harness/score/transition.hpp"
#include "tests/score/rig.hpp"

namespace trackrod::test {
namespace {

Sensor sensor(double noise, double phase) {
  Sensor s;
  s.noise = noise;
  s.phase = phase;
  return s;
}
KnownCapture any_capture() {
  return record(SteeredUnit{}, steps(40, 0.05, 1.0), 3.0, sensor(0.005, 0.0003), sensor(0.002, 0.0007), 1);
}

// What a plan must say at least; nothing for most scores.
std::string least_settings(const std::string& name) {
  if (name == "frequency" || name == "feedback") return R"({"frequencies": ["1 Hz", "2 Hz"]})";
  if (name == "drift") return R"({"of": {"score": "step"}, "finding": "delay_50"})";
  if (name == "supply") return R"({"below": 1, "working": [0, 1]})";
  if (name == "degraded") return R"({"healthy": [-10, 10], "tolerance": 1})";
  return "{}";
}

TEST_CASE("every score gives the findings that its entry promises, with or without data") {
  for (const bool with_data : {true, false})
    for (const auto& entry : score_entries()) {
      CAPTURE(entry.settings.name, with_data);
      auto c = any_capture();
      if (!with_data) {
        c.all_spans.clear();
        for (auto& samples : c.samples) samples.clear();
        c.quality = {};
      }
      std::set<std::string> promised, given;
      for (const auto& kind : entry.findings) promised.insert(entry.settings.name + "." + kind.name);
      for (const auto& f : score(entry.settings.name, c, least_settings(entry.settings.name)).findings) {
        given.insert(f.name);
        CHECK((f.value.has_value() || !f.reason.empty()));
        CHECK(f.value.has_value() == f.standard_uncertainty.has_value());
        CHECK(f.value.has_value() == f.interval.has_value());
        CHECK_FALSE(f.judged);
      }
      CHECK(given == promised);
    }
}

TEST_CASE("a score that does not exist, and a role without a signal, are told") {
  const auto c = any_capture();
  const std::any none;
  const auto unknown = run_score("dely", ScoreInput{c, c.all_spans, {}, none});
  REQUIRE_FALSE(unknown);
  CHECK(unknown.error().context.find("delay") != std::string::npos);
  const auto settings = settings_of("delay", "{}");
  const auto roleless = run_score("delay", ScoreInput{c, c.all_spans, {{"input", SignalIndex{0}}}, settings});
  REQUIRE_FALSE(roleless);
  CHECK(roleless.error().context.find("output") != std::string::npos);
}

TEST_CASE("units of findings follow the signals") {
  CHECK(finding_unit("output", "deg", "mm") == "mm");
  CHECK(finding_unit("input", "deg", "mm") == "deg");
  CHECK(finding_unit("output/input", "deg", "mm") == "(mm)/(deg)");
  CHECK(finding_unit("output/input", "deg", "deg") == "1");
  CHECK(finding_unit("ms", "deg", "mm") == "ms");
}

TEST_CASE("the run's own timing is reported as it was, counts exactly") {
  auto c = any_capture();
  c.quality.missed = 3;
  c.quality.late_p50 = std::chrono::microseconds{40};
  c.quality.late_p99 = std::chrono::microseconds{90};
  c.quality.late_max = std::chrono::microseconds{1200};
  c.quality.input_age_max = std::chrono::milliseconds{2};
  c.quality.late_bin = std::chrono::microseconds{10};
  c.quality.late_histogram = {0, 10, 2000, 900, 80, 7, 0, 0};
  c.all_gaps = {{at(1.0), at(1.1), 17, "records dropped"}};
  std::erase_if(c.samples[1], [](const Point& p) { return p.when > at(1.0) && p.when < at(1.02); });
  const auto result = score("bus", c);
  CHECK(value_of(result, "tick_late_p50") == Approx(40));
  CHECK(value_of(result, "tick_late_p99") == Approx(90));
  CHECK(value_of(result, "tick_late_max") == Approx(1200));
  CHECK(value_of(result, "missed_ticks") == 3.0);
  CHECK(*finding_of(result, "missed_ticks").standard_uncertainty == 0.0);
  CHECK(value_of(result, "records_lost") == 17.0);
  CHECK(value_of(result, "input_age_max") == Approx(2.0));
  for (const auto& f : result.findings) {
    const bool road = !f.signals.empty() && f.signals[0] == "road";
    if (f.name == "bus.interval") CHECK(*f.value == Approx(1.0).epsilon(2e-4));
    if (f.name == "bus.gaps") CHECK(*f.value == (road ? 1.0 : 0.0));
    if (f.name == "bus.longest_interval" && road) CHECK(*f.value == Approx(20.0).margin(1.5));
  }
  CHECK(result.figures.empty());  // the report draws the lateness of every run, asked or not
}

// By sorting, which is what the histogram stands for.
TEST_CASE("quantiles of intervals are those of the sorted list, to the width of a bin") {
  std::mt19937_64 random{12};
  std::lognormal_distribution<double> length{14.0, 2.0};  // ns: from microseconds to minutes
  IntervalHistogram histogram;
  std::vector<double> sorted;
  for (int i = 0; i < 20000; ++i) {
    const auto ns = std::chrono::nanoseconds{static_cast<std::int64_t>(length(random))};
    histogram.add(ns);
    sorted.push_back(static_cast<double>(ns.count()));
  }
  std::sort(sorted.begin(), sorted.end());
  for (const double share : {0.0, 0.01, 0.5, 0.99, 1.0})
    CHECK(static_cast<double>(histogram.quantile(share).count()) ==
          Approx(sorted[static_cast<std::size_t>(share * 19999.0)]).epsilon(2e-4));
  CHECK(static_cast<double>(histogram.longest().count()) == sorted.back());
  const auto rank = static_cast<double>(histogram.longer_than(histogram.quantile(0.99)));
  CHECK(rank <= 200);
  CHECK(rank > 190);  // but for those in the same bin
  histogram.add(std::chrono::nanoseconds{-5});
  CHECK(histogram.quantile(0.0).count() == 0);
}

TEST_CASE("intervals of signals that share stamps for a while are those of each by itself") {
  std::mt19937_64 random{31};
  constexpr std::size_t signals = 5, unwanted = 3;
  std::vector<bool> wanted(signals, true);
  wanted[unwanted] = false;
  SharedIntervals shared{wanted};
  std::vector<IntervalHistogram> alone(signals);
  std::vector<std::optional<BenchTime>> last(signals);
  BenchTime now{};
  for (int message = 0; message < 3000; ++message) {
    if (message == 2000) {
      shared.break_off();
      last.assign(signals, std::nullopt);
    }
    std::vector<SignalIndex> together;  // all, later the first two apart from the others, at last any
    for (SignalIndex s = 0; s < signals; ++s)
      if (message < 500 || (message < 1500 ? (s < 2) == (message % 2 == 0) : random() % 2 == 0)) together.push_back(s);
    std::vector<BenchTime> when;
    for (auto n = 1 + random() % 3; n > 0; --n) {
      now += std::chrono::microseconds{random() % 2000};
      when.push_back(random() % 10 == 0 ? now - std::chrono::milliseconds{3} : now);
    }
    shared.add(together, when);
    for (const auto s : together)
      for (const auto stamp : when) {
        if (last[s]) alone[s].add(stamp - *last[s]);
        last[s] = last[s] ? std::max(*last[s], stamp) : stamp;
      }
  }
  for (SignalIndex s = 0; s < signals; ++s) {
    if (s == unwanted) continue;
    CAPTURE(s);
    CHECK(shared.of(s).count() == alone[s].count());
    CHECK(shared.of(s).longest() == alone[s].longest());
    for (const double share : {0.1, 0.5, 0.9}) CHECK(shared.of(s).quantile(share) == alone[s].quantile(share));
  }
}

TEST_CASE("the run's timing bounds what delays may be claimed") {
  TimingQuality timing;
  timing.tick = std::chrono::milliseconds{1};
  timing.late_p99 = std::chrono::microseconds{80};
  CHECK(timing_resolution(timing) == std::chrono::microseconds{500});
  timing.late_p99 = std::chrono::milliseconds{7};
  CHECK(timing_resolution(timing) == std::chrono::milliseconds{7});
}

TEST_CASE("thinning keeps every extreme and every break") {
  std::vector<double> x, y;
  for (int i = 0; i < 100000; ++i) {
    x.push_back(i);
    y.push_back(std::sin(0.001 * i));
  }
  y[31234] = 9.0;
  y[77777] = -9.0;
  y[50000] = std::nan("");
  const auto curve = thinned("c", x, y, 2000);
  CHECK(curve.x.size() <= 2000);
  CHECK(*std::max_element(curve.y.begin(), curve.y.end(), [](double a, double b) { return std::isnan(a) || a < b; }) ==
        9.0);
  CHECK(std::count(curve.y.begin(), curve.y.end(), -9.0) == 1);
  CHECK(std::count_if(curve.y.begin(), curve.y.end(), [](double v) { return std::isnan(v); }) == 1);
  CHECK(std::is_sorted(curve.x.begin(), curve.x.end()));
}

TEST_CASE("a level of a coarse sensor without noise stays open by half a step, however many samples say it") {
  Series s;
  for (int i = 0; i < 1000; ++i) s.t.push_back(1e-3 * i), s.y.push_back(1.2);
  const auto coarse = level_at_rest(s, 0.0, 1.0, 0.1);
  CHECK(coarse.value == Approx(1.2));
  CHECK(coarse.standard_uncertainty == Approx(0.0).margin(1e-12));
  CHECK(coarse.half_width == 0.05);
  std::mt19937_64 random{6};
  std::normal_distribution<double> normal{0.0, 0.1};  // a whole step of noise: averaging helps again
  for (auto& y : s.y) y = 0.1 * std::round((1.2 + normal(random)) / 0.1);
  const auto dithered = level_at_rest(s, 0.0, 1.0, 0.1);
  CHECK(dithered.half_width == 0.0);
  CHECK(dithered.value == Approx(1.2).margin(0.02));
}

TEST_CASE("a coarse sensor that stands still while the other moves on is frozen, one that only lags is not") {
  Series input, output;
  for (int i = 0; i < 3000; ++i) {
    const double t = 1e-3 * i;
    input.t.push_back(t), output.t.push_back(t);
    input.y.push_back(10.0 * std::sin(3.0 * t));
    output.y.push_back(0.1 * std::round(10.0 * std::sin(3.0 * (t - 0.05)) / 0.1));
  }
  for (auto* s : {&input, &output}) s->interval = 1e-3;
  output.resolution = 0.1;
  CHECK(stuck(input, output, "hand", "road").empty());
  for (std::size_t i = 1200; i < 2200; ++i) output.y[i] = output.y[1200];
  CHECK(stuck(input, output, "hand", "road").find("'road' is frozen") == 0);
}

TEST_CASE("noise is found under slow motion, at even and at uneven instants") {
  for (const double jitter : {0.0, 0.4e-3}) {
    CAPTURE(jitter);
    std::mt19937_64 random{5};
    std::normal_distribution<double> normal{0.0, 0.03};
    std::uniform_real_distribution<double> even{-jitter, jitter + 1e-12};
    std::vector<double> t, y;
    for (int i = 0; i < 5000; ++i) {
      t.push_back(1e-3 * i + even(random));
      y.push_back(40.0 * std::sin(5.0 * t.back()) + normal(random));
    }
    CHECK(noise_of(t, y) == Approx(0.03).epsilon(0.1));
  }
}

}  // namespace
}  // namespace trackrod::test
