// Loop widths against closed forms: pure delay, delay with a gap (play operator), ellipse; linearity against a worked
// example of its definition (ISA-51.1, IEC 61298-2: average of up and down, narrowest band).

#include "harness/score/line_fit.hpp"
#include "tests/score/rig.hpp"

namespace trackrod::test {
namespace {

Sensor perfect(double phase) {
  Sensor s;
  s.phase = phase;
  return s;
}

// Input and output by formula; the unit of the rig is not used.
KnownCapture formula(const Motion& input, const std::function<std::vector<double>(double)>& make_output, double length,
                     double dt = 1e-3) {
  std::mt19937_64 random{1};
  KnownCapture c;
  auto sensor = perfect(0.0);
  sensor.interval = dt;
  c.infos = {info_of(sensor, "hand", "a"), info_of(sensor, "road", "b")};
  c.samples = {sense(sensor, input, length, random), {}};
  c.first = at(-0.95);
  c.last = at(length);
  const auto y = make_output(length);
  for (std::size_t i = 0; i < y.size(); ++i) {
    Point p;
    p.when = at(-0.95 + dt * static_cast<double>(i));
    p.value = y[i];
    c.samples[1].push_back(p);
  }
  c.all_spans = {{"sweep", 0, at(0.0), at(length), true}};
  return c;
}

// Play operator of total gap `gap`, moved in fine steps, sampled every ms from -0.95 s on.
std::function<std::vector<double>(double)> delayed_play(const Motion& input, double delay, double gap) {
  return [=](double length) {
    std::vector<double> out;
    double y = input(-2.0);
    for (long k = 0; static_cast<double>(k) * 5e-5 < length + 0.95; ++k) {
      const double u = input(-0.95 + 5e-5 * static_cast<double>(k) - delay);
      y = std::clamp(y, u - 0.5 * gap, u + 0.5 * gap);
      if (k % 20 == 0) out.push_back(y);
    }
    return out;
  };
}

TEST_CASE("width is gap plus twice rate times lag; the line over the rate gives both back") {
  // 0.30 deg and 20 ms: 0.50 0.70 1.10 1.90 3.50 deg at 5 10 20 40 80 deg/s.
  const std::vector<double> rates{5, 10, 20, 40, 80}, widths{0.50, 0.70, 1.10, 1.90, 3.50};
  std::vector<double> starts{0.0};
  for (const double rate : rates) starts.push_back(starts.back() + 240.0 / rate);
  const Motion motion = [=](double t) {
    for (std::size_t i = rates.size(); i-- > 0;)
      if (t >= starts[i]) return triangle(30.0, rates[i])(t - starts[i]);
    return 0.0;
  };
  auto c = formula(motion, delayed_play(motion, 0.020, 0.30), starts.back());
  c.all_spans.clear();
  for (std::size_t i = 0; i < rates.size(); ++i)
    c.all_spans.push_back({"sweep_" + std::to_string(i), 0, at(starts[i]), at(starts[i + 1]), true});
  const auto result = score("hysteresis", c);
  std::size_t seen = 0;
  for (const auto& f : result.findings)
    if (f.name == "hysteresis.width_apparent") {
      REQUIRE(f.value);
      CHECK(*f.value == Approx(widths[seen++]).margin(1e-3));
    }
  CHECK(seen == rates.size());
  CHECK(value_of(result, "width_corrected") == Approx(0.30).margin(1e-3));
  CHECK(value_of(result, "width_corrected_input") == Approx(0.30).margin(1e-3));
  CHECK(value_of(result, "lag") == Approx(20.0).margin(0.02));
}

TEST_CASE("the play operator has the width of its gap and an output span smaller by it") {
  // Half-gap 0.5, amplitude 10: output amplitude 9.5, width 1.0, both ways.
  const auto motion = triangle(10.0, 5.0);
  const auto c = formula(motion, delayed_play(motion, 0.0, 1.0), 16.0);
  const auto result = score("hysteresis", c);
  CHECK(value_of(result, "width_apparent") == Approx(1.0).margin(1e-3));
  CHECK(value_of(result, "width_apparent_input") == Approx(1.0).margin(1e-3));
  CHECK(value_of(result, "width_apparent_percent") == Approx(100.0 / 19.0).margin(0.01));
  CHECK(value_of(result, "width_greatest") == Approx(1.0).margin(1e-3));
  CHECK(value_of(result, "linearity") == Approx(0.0).margin(0.01));
}

TEST_CASE("an ellipse has the width 2 B sin phi at its centre") {
  // A = B = 45 deg, 0.2 Hz, 20 ms: 2.261709 deg.
  const auto motion = sine(45.0, 0.2);
  const auto c = formula(
      motion,
      [&](double length) {
        std::vector<double> y;
        for (long k = 0; static_cast<double>(k) * 1e-3 < length + 0.95; ++k) {
          const double t = -0.95 + 1e-3 * static_cast<double>(k) - 0.020;
          y.push_back(45.0 * std::sin(2.0 * 3.14159265358979323846 * 0.2 * t));
        }
        return y;
      },
      15.0);
  const auto result = score("hysteresis", c, R"({"centre": 0})");
  CHECK(value_of(result, "width_apparent") == Approx(2.261709).margin(5e-4));
  // Along the input: the same gap over the slope there, 2 A tan phi.
  CHECK(value_of(result, "width_apparent_input") == Approx(2.262424).margin(5e-4));
}

TEST_CASE("independent linearity of the worked example is the half-width of its narrowest band") {
  // Span 100; average of up and down errors at 0 25 50 75 100: independent linearity +-0.09667, where the least-squares
  // line would leave 0.10467.
  const std::vector<double> x{0, 25, 50, 75, 100}, error{0.066667, 0.16, 0.228333, 0.16, 0.003333};
  std::vector<double> y;
  for (std::size_t i = 0; i < x.size(); ++i) y.push_back(x[i] + error[i]);
  CHECK(independent_linearity(x, y) == Approx(0.09667).margin(1e-5));
  const auto line = fit_line(x, y, {1, 1, 1, 1, 1});
  CHECK(line.slope == Approx(0.999493).margin(1e-6));
  CHECK(line.intercept == Approx(0.14900).margin(1e-5));
}

}  // namespace
}  // namespace trackrod::test
