#include "harness/score/delay_data.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <map>
#include <numbers>

#include "harness/base/units.hpp"
#include "harness/score/correlate.hpp"
#include "harness/score/findings.hpp"

namespace trackrod {
namespace {

// s of input before the span, besides the longest lag. One more cycle tells where play and friction have left the
// output.
constexpr double least_past = 0.3, most_past = 5.0;
constexpr double gap_intervals = 5.0;  // longer without a sample: what the input did is not known

// Stretches of time [from, to] for which a signal is not known.
using Holes = std::vector<std::pair<double, double>>;
Holes holes(const Series& s) {
  Holes out;
  for (std::size_t i = 1; i < s.size(); ++i)
    if (s.t[i] - s.t[i - 1] > gap_intervals * s.interval) out.emplace_back(s.t[i - 1], s.t[i]);
  return out;
}

// The longest part of [first, last] in which both signals are known, and the input for `longest` before.
std::pair<double, double> longest_known(const DelaySpan& span, double first, double last, double longest) {
  auto unknown = holes(span.output);
  for (const auto& [from, to] : holes(span.input)) unknown.emplace_back(from, to + longest);
  unknown.emplace_back(last, last);
  std::sort(unknown.begin(), unknown.end());
  std::pair<double, double> best{first, first};
  for (const auto& [from, to] : unknown) {
    if (std::min(from, last) - first > best.second - best.first) best = {first, std::min(from, last)};
    first = std::max(first, to);
  }
  return best;
}

// Linear interpolation at even instants, in one pass.
std::vector<double> on_grid(const std::vector<double>& t, const std::vector<double>& y, double start, double dt,
                            std::size_t count) {
  std::vector<double> out(count);
  std::size_t i = 1;
  for (std::size_t k = 0; k < count; ++k) {
    const double at = start + dt * static_cast<double>(k);
    while (i + 1 < t.size() && t[i] < at) ++i;
    const double part = std::clamp((at - t[i - 1]) / (t[i] - t[i - 1]), 0.0, 1.0);
    out[k] = y[i - 1] + part * (y[i] - y[i - 1]);
  }
  return out;
}

// Without half a step of noise, a coarse sensor at rest says the same wrong thing again and again. Counting each sample
// would let a hold outweigh the motion, so few of such a run are kept, evenly spaced.
struct Told {
  std::vector<double> t, y;
};
Told without_long_runs(const Series& s) {
  constexpr std::size_t most = 8;
  if (noise_of(s.t, s.y) >= 0.5 * s.resolution) return {s.t, s.y};
  Told told;
  for (std::size_t i = 0; i < s.size();) {
    std::size_t j = i + 1;
    while (j < s.size() && s.y[j] == s.y[i]) ++j;
    const std::size_t kept = std::min(most, j - i);
    for (std::size_t k = 0; k < kept; ++k) {
      told.t.push_back(s.t[i + (2 * k + 1) * (j - i) / (2 * kept)]);
      told.y.push_back(s.y[i]);
    }
    i = j;
  }
  return told;
}

double sum_of_squares(const std::vector<double>& v) {
  double sum = 0.0;
  for (const double x : v) sum += x * x;
  return sum;
}
double variation(const std::vector<double>& v) {
  double sum = 0.0, mean = 0.0;
  for (const double x : v) mean += x / static_cast<double>(v.size());
  for (const double x : v) sum += (x - mean) * (x - mean);
  return sum;
}

// First on a thinned series over all lags, then finely about the peak.
std::optional<CorrelationCurve> fine_curve(const std::vector<double>& x, const std::vector<double>& y, int most,
                                           int ahead) {
  const int thin = std::max(1, most / 200);
  if (thin == 1) return correlation_curve(x, y, most, -ahead, most);
  const int lead = most / thin;
  std::vector<double> coarse_x, coarse_y;
  for (auto i = static_cast<std::size_t>(most - lead * thin); i < x.size(); i += static_cast<std::size_t>(thin))
    coarse_x.push_back(x[i]);
  for (std::size_t i = 0; i + static_cast<std::size_t>(thin) < y.size(); i += static_cast<std::size_t>(thin))
    coarse_y.push_back(y[i]);
  const auto coarse = correlation_curve(coarse_x, coarse_y, lead, 0, lead);
  const auto rough = coarse ? lag_of(*coarse) : std::nullopt;
  if (!rough) return std::nullopt;
  const double about = std::max(2.0 * thin, 100.0);
  const int least = std::max(-ahead, static_cast<int>(std::floor(rough->samples * thin - about)));
  const int greatest = std::min(most, static_cast<int>(std::ceil(rough->samples * thin + about)));
  return correlation_curve(x, y, most, least, greatest);
}

// The lag from the narrowest flank that noise allows: wide ones shift the top of a skewed peak, narrow ones leave it to
// noise.
struct FlankedLag {
  CorrelationLag lag;
  double noise{0.0};  // samples
  double shape{0.0};  // samples, to the lag that the next narrower or wider flank gives
};
std::optional<FlankedLag> best_flank(const CorrelationCurve& curve,
                                     const std::function<double(const CorrelationLag&)>& noise_of_lag) {
  constexpr double bearable = 2.0;  // times the least noise
  std::vector<FlankedLag> all;
  for (const double flank : {0.999, 0.995, 0.99, 0.98, 0.95}) {
    const auto lag = lag_of(curve, flank);
    if (!lag) return std::nullopt;
    all.push_back({*lag, noise_of_lag(*lag), 0.0});
  }
  double least = all.front().noise;
  for (const auto& f : all) least = std::min(least, f.noise);
  std::size_t best = 0;
  while (best + 1 < all.size() && all[best].noise > bearable * least) ++best;
  auto& chosen = all[best];
  for (std::size_t i = best > 0 ? best - 1 : 0; i <= std::min(best + 1, all.size() - 1); ++i) {
    // What noise alone makes of the difference is no sign of a skewed peak.
    const double apart = all[i].lag.samples - chosen.lag.samples;
    const double by_noise = std::abs(all[i].noise * all[i].noise - chosen.noise * chosen.noise);
    chosen.shape = std::max(chosen.shape, std::sqrt(std::max(0.0, apart * apart - by_noise)));
  }
  return chosen;
}

}  // namespace

DelaySpan read_delay_span(const ScoreInput& input, const Span& span, double longest, double lead) {
  DelaySpan out;
  const auto& signals = input.capture.signals();
  const auto in = input.signal("input"), result = input.signal("output");
  out.length = seconds(span.to - span.from);
  out.lead = lead;
  const double before = longest + lead + std::clamp(out.length, least_past, most_past);
  const auto past = std::max(input.capture.begin(), span.from - from_seconds(before));
  out.input = read_series(input.capture, in, past, span.to, span.from);
  out.output = read_series(input.capture, result, span.from, span.to, span.from);
  out.trouble = !out.input.trouble.empty() ? out.input.trouble : out.output.trouble;
  if (!out.trouble.empty()) return out;
  for (double& t : out.input.t) t -= lead;
  const auto first =
      read_series(input.capture, result, past, past + from_seconds(20.0 * out.output.interval), span.from);
  const auto& early = first.size() > 0 ? first : out.output;
  for (std::size_t i = 0; i < 5; ++i) out.start_output += early.y[std::min(i, early.size() - 1)] / 5.0;
  for (const bool is_input : {true, false}) {
    const auto& series = is_input ? out.input : out.output;
    const auto& info = signals[is_input ? in : result];
    if (series.span() > std::max(12.0 * series.noise, 4.0 * info.resolution)) continue;
    out.trouble = "no motion: '" + info.name + "' moved by " + with_unit(series.span(), info.unit) +
                  ", hardly more than its noise and resolution";
    return out;
  }
  out.trouble = stuck(out.input, out.output, signals[in].name, signals[result].name, longest + lead);
  return out;
}

Stretch stretch_of(const DelaySpan& span, double dt, std::size_t stride, double longest) {
  Stretch s;
  s.start = span.input.t.front();
  s.start_output = span.start_output;
  s.dt = dt;
  const double noise = noise_of(span.input.t, span.input.y);  // rounding at rest is none
  s.noise_density = noise * noise * span.input.interval;
  s.rounding = span.output.resolution * span.output.resolution / 12.0;
  const auto count = static_cast<std::size_t>((span.input.t.back() - s.start) / dt) + 1;
  s.input = on_grid(span.input.t, span.input.y, s.start, dt, count);
  const auto gaps = holes(span.input);
  // Where the recording itself begins with the span, the input's past is not known for the first outputs.
  const double known_from = s.start > -0.5 * longest ? s.start + longest : s.start;
  std::size_t gap = 0;
  const auto told = without_long_runs(span.output);
  for (std::size_t i = 0; i < told.t.size(); i += stride) {
    const double t = told.t[i];
    while (gap < gaps.size() && t >= gaps[gap].second + longest) ++gap;
    const bool unknown = t < known_from || (gap < gaps.size() && t > gaps[gap].first);
    if (unknown) continue;
    s.t.push_back(t);
    s.output.push_back(told.y[i]);
  }
  return s;
}

std::vector<double> coarser_input(const DelaySpan& span, const Stretch& stretch) {
  std::vector<double> t, y;
  for (std::size_t i = 0; i < span.input.size(); i += 2) {
    t.push_back(span.input.t[i]);
    y.push_back(span.input.y[i]);
  }
  return on_grid(t, y, stretch.start, stretch.dt, stretch.input.size());
}

double rounding_half_width(const std::vector<DelaySpan>& spans, const std::vector<Stretch>& stretches,
                           const Eigen::VectorXd& influence) {
  constexpr std::size_t held = 4;  // samples of one value in a row
  double resolution = 0.0;
  for (const auto& span : spans) {
    resolution = span.output.resolution;
    if (noise_of(span.output.t, span.output.y) >= 0.5 * resolution) return 0.0;
  }
  std::map<double, double> by_level;
  Eigen::Index row = 0;
  for (const auto& s : stretches)
    for (std::size_t i = 0; i < s.output.size();) {
      std::size_t j = i + 1;
      while (j < s.output.size() && s.output[j] == s.output[i]) ++j;
      const auto n = static_cast<Eigen::Index>(j - i);
      if (j - i >= held) by_level[s.output[i]] += influence.segment(row, n).sum();
      row += n;
      i = j;
    }
  double worst = 0.0;  // few levels may well be off the worst way
  for (const auto& [level, sum] : by_level) worst += std::abs(sum);
  return 0.5 * resolution * worst;
}

SpanLag correlated_lag(const DelaySpan& span, bool rates, double longest, double dt, double phase) {
  SpanLag out;
  const double reach = span.lead + longest;
  const int most = static_cast<int>(std::ceil(reach / dt)) + 1;
  constexpr int ahead = 10;  // lags below zero: the output ahead of the input
  const auto half = rates ? std::max<std::size_t>(1, static_cast<std::size_t>(0.005 / dt + 0.5)) : 1;
  const double begin = std::max(0.0, span.input.t.front() + (most + static_cast<double>(half)) * dt) + phase * dt;
  const double end = std::min(span.output.t.back(), span.input.t.back()) - (ahead + 1.0) * dt;
  const auto [first, last] = longest_known(span, begin, end, reach);
  out.complete = first == begin && last == end;
  if (last - first < 20.0 * dt || last - first < 0.25 * span.length) {
    out.reason = "the step, or what is known of it without a gap, is too short for lags up to " +
                 with_unit(1e3 * longest, "ms") + "; set a smaller \"longest\"";
    return out;
  }
  out.compared = last - first;
  const auto count = static_cast<std::size_t>((last - first) / dt);
  auto y = on_grid(span.output.t, span.output.y, first, dt, count);
  auto x = on_grid(span.input.t, span.input.y, first - most * dt, dt, count + static_cast<std::size_t>(most + ahead));
  const auto speed = central_difference(x, std::max<std::size_t>(1, static_cast<std::size_t>(0.005 / dt + 0.5)));
  out.frequency = std::sqrt(sum_of_squares(speed) / std::max(1e-300, variation(x))) / dt / (2.0 * std::numbers::pi);
  if (rates) {
    x = central_difference(x, half);
    y = central_difference(y, half);
  }
  const auto curve = fine_curve(x, y, most, ahead);
  const auto best =
      curve ? best_flank(*curve,
                         [&](const CorrelationLag& lag) {
                           return lag_noise(lag, x, y, most, span.input.noise, span.output.noise, rates ? half : 0);
                         })
            : std::nullopt;
  if (!best) {
    out.reason = "no shift from " + shown(-1e3 * span.lead) + " to " + with_unit(1e3 * longest, "ms") +
                 " makes the two signals most alike: the peak is at an end";
    return out;
  }
  out.lag = best->lag.samples * dt - span.lead;
  out.coefficient = best->lag.coefficient;
  out.noise = best->noise * dt;
  out.shape = best->shape * dt;
  if (std::abs(out.coefficient) < 0.5)
    out.reason =
        "the two signals do not resemble each other: their correlation is " + shown(out.coefficient, 2) + " at best";
  else if (out.shape > std::max(0.002, 0.1 * std::abs(out.lag)))
    out.reason = "the two signals are about equally alike over " + with_unit(2e3 * out.shape, "ms") +
                 " of shift, as when rates jump and the output pauses at reversals; correlate levels, or use the "
                 "fitted model";
  return out;
}

Ways ways_of(const Series& s) {
  const double enough = 0.3 * s.span();
  double low = s.y.front(), high = s.y.front();
  Ways ways;
  for (const double y : s.y) {
    low = std::min(low, y);
    high = std::max(high, y);
    ways.up = ways.up || y - low > enough;
    ways.down = ways.down || high - y > enough;
  }
  return ways;
}

}  // namespace trackrod
