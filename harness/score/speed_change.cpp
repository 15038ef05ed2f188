#include "harness/score/speed_change.hpp"

#include <algorithm>
#include <cmath>
#include <random>

#include "harness/score/figure.hpp"
#include "harness/score/series.hpp"

namespace trackrod {
namespace {

constexpr int draws = 400;
constexpr double places_a_window = 8.0;
constexpr double sure = 4.0;  // standard deviations: a slope of the input beyond is one

// Mean with its noise, over [from, to).
struct Level {
  double value{0.0}, noise{0.0};
};
Level level_of(const Series& s, double from, double to) {
  const std::size_t begin = s.from(from), end = std::max(s.from(to), begin + 1);
  Level level;
  for (std::size_t i = begin; i < end && i < s.size(); ++i) level.value += s.y[i] / static_cast<double>(end - begin);
  level.noise = s.noise / std::sqrt(static_cast<double>(end - begin));
  return level;
}

// A line by least squares through the samples of a window: the sum of weight times sample is its slope.
struct Window {
  std::size_t begin{0};
  std::vector<double> weights;  // 1/s
  double middle{0.0};           // s
  double slope_of(const std::vector<double>& y) const {
    double sum = 0.0;
    for (std::size_t k = 0; k < weights.size(); ++k) sum += weights[k] * y[begin + k];
    return sum;
  }
};

std::vector<Window> windows_over(const Series& s, double length) {
  std::vector<Window> all;
  for (double from = s.t.front(); from + length <= s.t.back(); from += length / places_a_window) {
    Window w;
    w.begin = s.from(from);
    const std::size_t n = s.from(from + length) - w.begin;
    if (n < 4) continue;
    double mean = 0.0, spread = 0.0;
    for (std::size_t k = 0; k < n; ++k) mean += s.t[w.begin + k] / static_cast<double>(n);
    for (std::size_t k = 0; k < n; ++k) spread += std::pow(s.t[w.begin + k] - mean, 2);
    for (std::size_t k = 0; k < n; ++k) w.weights.push_back((s.t[w.begin + k] - mean) / spread);
    w.middle = mean;
    all.push_back(std::move(w));
  }
  return all;
}

struct Cycle {
  Series output;
  double speed_before{0.0}, speed_after{0.0};
  double input_mean{0.0}, input_span{0.0}, input_rate{0.0};
};

struct GreatestRate {
  double value{0.0}, bias{0.0}, noise{0.0}, when{0.0};
  double least{0.0}, most{0.0};  // what noise adds in 95 of 100 draws: the greatest of many errs further up than down
};

// Mean over a window to either side: of overlapping windows, without most of what noise made of them.
std::vector<double> smoothed(const std::vector<double>& rates) {
  constexpr auto reach = static_cast<std::size_t>(2.0 * places_a_window);
  std::vector<double> out(rates.size());
  for (std::size_t i = 0; i < rates.size(); ++i) {
    const std::size_t first = i > reach ? i - reach : 0, end = std::min(rates.size(), i + reach + 1);
    for (std::size_t k = first; k < end; ++k) out[i] += rates[k] / static_cast<double>(end - first);
  }
  return out;
}

// Over all cycles. The rates found, smoothed, stand for those that were, when noise is drawn again about them: noise
// picks among them as it did among those, wherever they are nearly alike.
GreatestRate greatest_rate(const std::vector<Cycle>& cycles, double window) {
  struct Track {
    std::vector<Window> windows;
    std::vector<double> rates, smooth, noise;
    double deviation{0.0};
  };
  std::vector<Track> tracks;
  double greatest_smooth = 0.0;
  GreatestRate out;
  for (const auto& c : cycles) {
    Track t{windows_over(c.output, window), {}, {}, std::vector<double>(c.output.size()), c.output.noise};
    for (const auto& w : t.windows) {
      t.rates.push_back(w.slope_of(c.output.y));
      if (std::abs(t.rates.back()) > std::abs(out.value)) out.value = t.rates.back(), out.when = w.middle;
    }
    t.smooth = smoothed(t.rates);
    for (const double rate : t.smooth) greatest_smooth = std::max(greatest_smooth, std::abs(rate));
    tracks.push_back(std::move(t));
  }
  std::mt19937_64 random{1};
  std::normal_distribution<double> normal;
  std::vector<double> beyond;
  for (int d = 0; d < draws; ++d) {
    double most = 0.0;
    for (auto& t : tracks) {
      for (auto& n : t.noise) n = t.deviation * normal(random);
      for (std::size_t k = 0; k < t.windows.size(); ++k)
        most = std::max(most, std::abs(t.smooth[k] + t.windows[k].slope_of(t.noise)));
    }
    beyond.push_back(most - greatest_smooth);
  }
  for (const double b : beyond) out.bias += b / draws;
  double square = 0.0;
  for (const double b : beyond) square += (b - out.bias) * (b - out.bias) / (draws - 1.0);
  out.noise = std::sqrt(square);
  std::sort(beyond.begin(), beyond.end());
  out.least = beyond[draws / 40], out.most = beyond[draws - 1 - draws / 40];
  return out;
}

std::string read_cycles(const ScoreInput& input, const std::vector<Span>& spans, const SpeedChangeRule& rule,
                        std::vector<Cycle>& cycles) {
  std::string trouble;
  for (const auto& span : spans) {
    Cycle c;
    const auto in = read_series(input.capture, input.signal("input"), span.from, span.to, span.from);
    c.output = read_series(input.capture, input.signal("output"), span.from, span.to, span.from);
    const auto speed = read_series(input.capture, input.signal("speed"), span.from, span.to, span.from);
    const double length = seconds(span.to - span.from);
    const auto& name = input.capture.signals()[input.signal("output")].name;
    auto why = !c.output.trouble.empty() ? c.output.trouble : silent_noise(c.output, name);
    if (why.empty() && speed.size() < 2) why = "the speed has no samples";
    if (why.empty() && in.size() < 2) why = "the input has no samples";
    if (why.empty() && speed.span() <= 10.0 * speed.noise) why = "the speed does not change";
    if (why.empty() && length < 4.0 * rule.window) why = "the step is shorter than four windows";
    for (std::size_t i = 1; why.empty() && i < c.output.size(); ++i)
      if (c.output.t[i] - c.output.t[i - 1] > 0.5 * rule.window)
        why = "samples of '" + name + "' are missing for " + with_unit(1e3 * (c.output.t[i] - c.output.t[i - 1]), "ms");
    if (!why.empty()) {
      trouble = why;
      continue;
    }
    c.speed_before = speed.y.front(), c.speed_after = speed.y.back();
    c.input_span = std::max(0.0, in.span() - 2.0 * sure * in.noise);
    c.input_mean = level_of(in, 0.0, length).value;
    for (const auto& w : windows_over(in, rule.window)) {
      double square = 0.0;
      for (const double weight : w.weights) square += weight * weight;
      c.input_rate = std::max(c.input_rate, std::abs(w.slope_of(in.y)) - sure * in.noise * std::sqrt(square));
    }
    cycles.push_back(std::move(c));
  }
  return trouble;
}

// The way of all cycles is marked on the first one.
Figure picture_of(const Cycle& cycle, const SpeedChangeRule& rule, const Finding& motion, const std::string& step,
                  const SignalInfo& out) {
  const auto& s = cycle.output;
  const double before = level_of(s, s.t.front(), s.t.front() + rule.window).value;
  Figure f{"Step '" + step + "': the output while the speed changes and the input is held",
           "time in the step (s)",
           out.name + " (" + out.unit + ")",
           {thinned(out.name, s.t, s.y)},
           {{"before", 'y', before, 0.0}}};
  add_mark(f, "after", 'y', motion, before);
  return f;
}

}  // namespace

bool input_is_held(const ScoreInput& input, const std::vector<Span>& spans, double held) {
  return std::all_of(spans.begin(), spans.end(), [&](const Span& span) {
    const auto in = read_series(input.capture, input.signal("input"), span.from, span.to, span.from);
    return in.size() > 0 && in.span() <= held + 8.0 * in.noise;
  });
}

ScoreResult score_speed_change(const ScoreInput& input, const std::vector<Span>& spans, Frame frame,
                               const SpeedChangeRule& rule) {
  const auto& in = input.capture.signals()[input.signal("input")];
  const auto& out = input.capture.signals()[input.signal("output")];
  const auto without = [&](const std::string& why) {
    return ScoreResult{{frame.missing("speed_motion", out.unit, why, !spans.empty()),
                        frame.missing("speed_rate", out.unit + "/s", why, !spans.empty())},
                       {}};
  };
  const auto speed = input.signal("speed");
  if (speed >= input.capture.signals().size()) return without("no signal plays the role 'speed'");
  if (spans.empty()) return without("no complete step to score");
  if (!input_is_held(input, spans, rule.held)) return without("the input is not held: it moves in this step");
  std::vector<Cycle> cycles;
  const auto trouble = read_cycles(input, spans, rule, cycles);
  if (cycles.empty()) return without(trouble);

  const auto& speed_info = input.capture.signals()[speed];
  frame.signals.push_back(speed_info.name);
  frame.conditions.emplace_back("speed_from", with_unit(cycles.front().speed_before, speed_info.unit));
  frame.conditions.emplace_back("speed_to", with_unit(cycles.front().speed_after, speed_info.unit));
  frame.conditions.emplace_back("held_at", with_unit(cycles.front().input_mean, in.unit));
  std::vector<double> changes, noise;
  double moved = 0.0, moved_rate = 0.0;  // of the output: what the input's own motion may have asked for
  for (const auto& c : cycles) {
    const auto first = level_of(c.output, c.output.t.front(), c.output.t.front() + rule.window);
    const auto last = level_of(c.output, c.output.t.back() - rule.window, c.output.t.back());
    changes.push_back(last.value - first.value);
    noise.push_back(std::hypot(first.noise, last.noise));
    if (c.input_mean == 0.0) continue;
    moved = std::max(moved, c.input_span * std::abs(last.value / c.input_mean));
    moved_rate = std::max(moved_rate, c.input_rate * std::abs(last.value / c.input_mean));
  }
  const auto found = repeated(changes, noise);
  auto budget = found.budget;
  budget.push_back(rectangular("motion of the input", 0.5 * moved));
  budget.push_back(rectangular("resolution", 0.5 * out.resolution));
  for (auto& line : calibration_budget(out, found.mean)) budget.push_back(std::move(line));
  ScoreResult result;
  result.findings.push_back(frame.measured("speed_motion", out.unit, found.mean, std::move(budget)));
  result.figures.push_back(picture_of(cycles.front(), rule, result.findings.front(), frame.step, out));

  const auto rate = greatest_rate(cycles, rule.window);
  auto told = frame;
  told.conditions.emplace_back("at", with_unit(rate.when, "s") + " of the step");
  told.conditions.emplace_back("greatest_of", std::to_string(cycles.size()) + " cycles");
  const double value = std::max(0.0, std::abs(rate.value) - rate.bias);
  std::vector<Contribution> of_rate{
      type_b("choice of the greatest", 0.15 * rate.bias), rectangular("motion of the input", moved_rate),
      type_b("calibration of '" + out.name + "'", out.calibration.gain_uncertainty * value)};
  const double others = combine(0.0, of_rate).interval[1];
  of_rate.push_back(type_b("noise", rate.noise));
  auto f = told.measured("speed_rate", out.unit + "/s", value, std::move(of_rate));
  if (f.interval)
    f.interval = {value - std::hypot(rate.most - rate.bias, others),
                  value + std::hypot(rate.bias - rate.least, others)};
  if (f.interval) (*f.interval)[0] = std::max(0.0, (*f.interval)[0]);
  result.findings.push_back(std::move(f));
  return result;
}

}  // namespace trackrod
