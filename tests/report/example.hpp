#pragma once
// An invented run of an invented unit, for looking at reports. No check rests on its numbers.

#include <cmath>

#include "harness/report/html.hpp"

namespace trackrod::example {

inline Contribution line(const std::string& name, double u, char type, const std::string& distribution) {
  Contribution c;
  c.name = name;
  c.standard_uncertainty = u;
  c.type = type;
  c.distribution = distribution;
  return c;
}

inline Finding finding(const std::string& name, double value, double half, const std::string& unit) {
  Finding f;
  f.name = name;
  f.step = "triangle-20";
  f.signals = {"hand.angle_ref", "road.angle_ref"};
  f.conditions = {{"vehicle.speed", "40.0 km/h"}, {"hand_wheel", "position"}};
  f.value = value;
  f.unit = unit;
  f.standard_uncertainty = half / 1.96;
  f.interval = {value - half, value + half};
  f.budget = {line("sensor calibration", half / 3.0, 'B', "normal"), line("resolution", half / 6.0, 'B', "rectangular"),
              line("noise", half / 2.7, 'A', "normal"), line("clock, hand", half / 5.0, 'B', "rectangular"),
              line("clock, road", -half / 4.0, 'B', "rectangular")};
  f.budget[2].degrees_of_freedom = 23.0;
  f.budget[3].group = f.budget[4].group = "clock";
  return f;
}

inline Finding judged(Finding f, Limit limit, Verdict verdict, const std::string& requirement,
                      const std::string& reason = "") {
  f.limit = limit;
  f.judged = true;
  f.verdict = verdict;
  f.rule = "guarded";
  f.requirement = requirement;
  f.reason = reason;
  return f;
}

inline std::vector<Finding> findings() {
  auto missing = judged(finding("step.settling", 0.0, 1.0, "ms"), {Limit::Kind::at_most, 0.0, 400.0}, Verdict::not_run,
                        "SW-STEER-019", "step 'kerb strike' was cut short by a trip, so the road wheel never settled");
  missing.value.reset();
  missing.interval.reset();
  missing.standard_uncertainty.reset();
  missing.budget.clear();
  auto skew = finding("step.overshoot", 3.1, 0.8, "%");
  skew.interval = {2.6, 4.4};
  return {
      judged(finding("delay.dead_time", 43.71, 1.12, "ms"), {Limit::Kind::at_most, 0.0, 50.0}, Verdict::pass,
             "SW-STEER-012"),
      judged(finding("hysteresis.width_corrected", 0.642, 0.021, "deg"), {Limit::Kind::within, 0.2, 0.6}, Verdict::fail,
             "SW-STEER-014", "the whole interval lies above the upper limit"),
      judged(finding("delay.time_constant", 28.4, 2.3, "ms"), {Limit::Kind::at_most, 0.0, 30.0}, Verdict::inconclusive,
             "SW-STEER-013", "the interval straddles the limit; about 9 repeats would decide"),
      missing,
      skew,
      finding("bus.late_p99", 0.0613, 0.0004, "ms")};
}

inline Figure step_figure() {
  Figure f;
  f.title = "Response to the step of 10 deg in step 'step-40'";
  f.x_label = "time after the input's 50 % / s";
  f.y_label = "angle / deg";
  Curve hand{"hand wheel (bench reference)", {}, {}, Curve::Style::line};
  Curve road{"road wheel x 15 (bench reference)", {}, {}, Curve::Style::line};
  for (int i = -1000; i < 5000; ++i) {
    const double t = i * 1e-4, u = t - 0.044;
    hand.x.push_back(t);
    hand.y.push_back(10.0 / (1.0 + std::exp(-t / 0.004)));
    road.x.push_back(t);
    road.y.push_back(u < 0 ? 0.0
                           : 10.0 * (1.0 - std::exp(-u / 0.03) * (std::cos(60.0 * u) + 0.5 * std::sin(60.0 * u))));
  }
  f.curves = {hand, road};
  f.marks = {{"input 50 %", 'x', 0.0, 0.0}, {"output 50 %", 'x', 0.066, 0.0012}, {"settled", 'y', 10.0, 0.2}};
  return f;
}

inline Figure loop_figure() {
  Figure f;
  f.title = "Loop of the on-centre sweeps";
  f.x_label = "hand-wheel angle / deg";
  f.y_label = "road-wheel angle / deg";
  for (const double lag : {0.12, 0.24, 0.36}) {
    Curve c{std::to_string(static_cast<int>(lag * 100)) + " deg/s", {}, {}, Curve::Style::line};
    for (int i = 0; i <= 720; ++i) {
      const double w = i * M_PI / 360.0;
      c.x.push_back(30.0 * std::sin(w));
      c.y.push_back(2.0 * std::sin(w - lag));
    }
    f.curves.push_back(c);
  }
  f.marks = {{"centre", 'x', 0.0, 0.0}};
  return f;
}

inline SignalInfo signal(const std::string& name, bool bench, const std::string& date, const std::string& due) {
  SignalInfo s;
  s.name = name;
  s.unit = "deg";
  s.device = "reference";
  s.location = bench ? "hand wheel rim" : "motor";
  s.bench_owned = bench;
  s.calibration.date = date;
  s.calibration.due = due;
  s.calibration.standard_uncertainty = date.empty() ? 0.0 : 0.012;
  s.calibration.certificate = date.empty() ? "" : "K-" + date.substr(2, 2) + "-0417";
  return s;
}

inline Report report() {
  using namespace std::chrono_literals;
  Report r;
  auto& f = r.facts;
  f.run = "20261125-140312-acceptance-LV3-017-7f3a";
  f.plan = "acceptance";
  f.plan_file = "plans/acceptance.json";
  f.plan_description = "Steps at three speeds and triangles at three rates";
  f.bench = "demo bench";
  f.bench_file = "fixtures/demo_bench/bench.json";
  f.unit = "LV3-017";
  f.unit_serial = "0042";
  f.unit_description = "by-wire steering of a light electric van";
  f.started = "2026-11-25 14:03:12 +01:00";
  f.duration = 4min + 52s;
  f.ending = "tripped: interlock 'rack force' was broken by 5.4 kN for longer than 20 ms";
  f.ended_as_planned = false;
  f.software = "trackrod 0.1.0";
  f.host = {{"scheduling", "SCHED_FIFO, priority 80"},
            {"memory", "not locked: the limit is 64 KiB"},
            {"kernel", "6.1, PREEMPT"}};
  f.hashes = {{"bench.json", "sha256:9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08"},
              {"plan.json", "sha256:60303ae22b998861bce3b28f33eec1be758a213c86c93c076dbe9f558c11c752"}};
  f.deviations = {"The rack actuator was exchanged after the first attempt."};
  f.events = {
      {0ms, "cold -> armed"}, {1204ms, "step 'step-20' started"}, {251930ms, "tripped: interlock 'rack force'"}};
  r.findings = findings();
  r.figures = {step_figure(), loop_figure()};
  r.signals = {signal("hand.angle_ref", true, "2026-03-02", "2027-03-02"),
               signal("road.angle_ref", true, "2025-10-01", "2026-10-01"), signal("rack.force", true, "", ""),
               signal("unit.motor_angle", false, "", "")};
  r.timing.tick = 1ms;
  r.timing.ticks = 291990;
  r.timing.missed = 10;
  r.timing.late_bin = 5us;
  for (int i = 0; i < 40; ++i)
    r.timing.late_histogram.push_back(static_cast<std::uint64_t>(i < 30 ? 150000.0 * std::exp(-i * 0.55) : i == 37));
  r.timing.late_p50 = 6us;
  r.timing.late_p99 = 41us;
  r.timing.late_max = 187us;
  r.timing.work_p50 = 18us;
  r.timing.work_p99 = 33us;
  r.timing.work_max = 122us;
  r.timing.input_age_max = 2310us;
  r.gaps = {{BenchTime{120s}, BenchTime{120s + 8ms}, 64, "the ring between loop and keeper was full"}};
  r.begin = BenchTime{0s};
  return r;
}

}  // namespace trackrod::example
