#include "harness/score/series.hpp"

#include <algorithm>
#include <cmath>

#include "harness/base/units.hpp"

namespace trackrod {
namespace {

constexpr std::size_t fewest_samples = 8;
constexpr std::size_t saturated_run = 5;  // samples in a row at the end of the range

// From below: is the run at the end of the range, where the sensor can only clip?
bool saturated(const Series& s, double limit, double resolution, bool upper) {
  const double slack = 0.5 * resolution + 1e-9 * std::abs(limit);
  std::size_t run = 0;
  for (const double y : s.y) {
    run = (upper ? y >= limit - slack : y <= limit + slack) ? run + 1 : 0;
    if (run >= saturated_run) return true;
  }
  return false;
}

std::string find_trouble(const Series& s, const SignalInfo& info) {
  const auto name = "'" + info.name + "'";
  if (s.size() == 0 && s.no_value > 0) return name + " said \"no value\" throughout";
  if (s.size() < fewest_samples) return name + " has " + std::to_string(s.size()) + " samples here: too few";
  if (s.no_value * 10 > s.size()) return name + " said \"no value\" in more than a tenth of its samples";
  if (s.span() == 0.0) return name + " did not change by one digit: frozen, or nothing moved";
  if (info.range_low < info.range_high) {
    if (saturated(s, info.range_high, info.resolution, true))
      return name + " is saturated: it stays at the upper end of its range, " + shown(info.range_high) + " " +
             info.unit;
    if (saturated(s, info.range_low, info.resolution, false))
      return name + " is saturated: it stays at the lower end of its range, " + shown(info.range_low) + " " + info.unit;
  }
  return "";
}

// Calls visit(first, last) for every stretch of samples that keep one value to the last digit for long.
template <class Visit>
void for_each_standstill(const Series& s, const Visit& visit, double shortest = 0.05) {
  for (std::size_t i = 0; i < s.size();) {
    std::size_t j = i + 1;
    while (j < s.size() && s.y[j] == s.y[i]) ++j;
    if (j - i >= 20 && s.t[j - 1] - s.t[i] > shortest) visit(i, j - 1);
    i = j;
  }
}

// The motion of `other` from `before` s after the start to `after` s before the end of a standstill, as a share of its
// span.
std::string ignored_motion(const Series& s, const Series& other, const std::string& name, const std::string& other_name,
                           double before, double after) {
  constexpr double too_much = 0.25;
  std::string found;
  for_each_standstill(s, [&](std::size_t i, std::size_t j) {
    const auto first = other.from(s.t[i] + before), last = other.from(s.t[j] - after);
    if (last <= first || !found.empty()) return;
    const auto [low, high] = std::minmax_element(other.y.begin() + static_cast<std::ptrdiff_t>(first),
                                                 other.y.begin() + static_cast<std::ptrdiff_t>(last));
    const double share = (*high - *low) / other.span();
    if (share > too_much)
      found = "'" + name + "' is frozen: it keeps one value for " + shown(1e3 * (s.t[j] - s.t[i]), 3) + " ms while '" +
              other_name + "' goes through " + shown(100.0 * share, 2) + " % of its motion";
  });
  return found;
}

// What keeps one value and then jumps was frozen; motion that really stopped starts again step by step.
std::string jump_after_standstill(const Series& s, const std::string& name) {
  constexpr double far = 5.0, soon = 5.0;
  std::vector<double> steps;
  for (std::size_t i = 1; i < s.size(); ++i) steps.push_back(std::abs(s.y[i] - s.y[i - 1]));
  if (steps.empty()) return "";
  const auto high = steps.begin() + static_cast<std::ptrdiff_t>(0.99 * static_cast<double>(steps.size()));
  std::nth_element(steps.begin(), high, steps.end());
  const double usual = std::max(*high, s.resolution);
  std::string found;
  for_each_standstill(s, [&](std::size_t i, std::size_t j) {
    if (j + 1 >= s.size() || s.t[j + 1] - s.t[j] > soon * s.interval || !found.empty()) return;
    const double jump = std::abs(s.y[j + 1] - s.y[j]);
    if (jump > far * usual)
      found = "'" + name + "' is frozen: it keeps one value for " + shown(1e3 * (s.t[j] - s.t[i]), 3) +
              " ms and then jumps by " + shown(jump, 3);
  });
  return found;
}

std::string longest_hole(const Series& s, const std::string& name) {
  for (std::size_t i = 1; i < s.size(); ++i) {
    const double gap = s.t[i] - s.t[i - 1];
    if (gap > std::max(0.25, 20.0 * s.interval))
      return "'" + name + "' has no samples for " + shown(1e3 * gap, 3) + " ms";
  }
  return "";
}

}  // namespace

// Noise of more than half a step of the sensor cannot pause; of more than a whole step not even for twenty samples, as
// at the clipped top of a peak.
std::string silent_noise(const Series& s, const std::string& name) {
  const double noise = s.noise;
  std::string found;
  if (noise <= std::max(0.5 * s.resolution, 1e-5 * s.span())) return found;
  const auto told = [&](std::size_t i, std::size_t j) {
    if (found.empty())
      found = "'" + name + "' is frozen, or at its limit: for " + shown(1e3 * (s.t[j] - s.t[i]), 3) +
              " ms it keeps one value, without its noise";
  };
  if (noise > s.resolution)
    for_each_standstill(s, told, 0.0);
  else
    for_each_standstill(s, told);
  return found;
}

double Series::at(double time) const {
  const auto i = from(time);
  if (i == 0) return y.front();
  if (i >= size()) return y.back();
  const double share = (time - t[i - 1]) / (t[i] - t[i - 1]);
  return y[i - 1] + share * (y[i] - y[i - 1]);
}

std::size_t Series::from(double time) const {
  return static_cast<std::size_t>(std::lower_bound(t.begin(), t.end(), time) - t.begin());
}

double Series::span() const {
  if (y.empty()) return 0.0;
  const auto [low, high] = std::minmax_element(y.begin(), y.end());
  return *high - *low;
}

double median_of(std::vector<double> values) {
  if (values.empty()) return 0.0;
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

double noise_of(const std::vector<double>& t, const std::vector<double>& y) {
  std::vector<double> difference;
  difference.reserve(y.size());
  for (std::size_t i = 3; i < y.size(); ++i) {
    double sum = 0.0, square = 0.0;
    for (std::size_t j = i - 3; j <= i; ++j) {
      double apart = 1.0;
      for (std::size_t k = i - 3; k <= i; ++k)
        if (k != j) apart *= t[j] - t[k];
      const double weight = 1.0 / apart;  // of y[j] in what no parabola through the four points leaves
      sum += weight * y[j];
      square += weight * weight;
    }
    difference.push_back(std::abs(sum) / std::sqrt(square));
  }
  return 1.4826 * median_of(std::move(difference));
}

Series read_series(const CaptureView& capture, SignalIndex signal, BenchTime from, BenchTime to, BenchTime origin) {
  const auto& info = capture.signals()[signal];
  Series s;
  const auto points = capture.points(signal, from + info.delay, to + info.delay);
  if (!points) {
    s.trouble = points.error().context;
    return s;
  }
  std::vector<double> widths, intervals;
  for (const auto& p : *points) {
    if (!std::isfinite(p.value)) {
      ++s.no_value;
      continue;
    }
    const double t = seconds(p.when - info.delay - origin);
    if (!s.t.empty() && t <= s.t.back()) continue;  // two at one instant: the first stands
    if (!s.t.empty()) intervals.push_back(t - s.t.back());
    s.t.push_back(t);
    s.y.push_back(p.value);
    widths.push_back(1e-9 * p.uncertainty_ns);
  }
  s.interval = median_of(std::move(intervals));
  s.stamp_half_width = median_of(std::move(widths));
  s.resolution = info.resolution;
  s.noise = std::max(noise_of(s.t, s.y), info.resolution / std::sqrt(12.0));
  s.trouble = find_trouble(s, info);
  return s;
}

std::string stuck(const Series& input, const Series& output, const std::string& input_name,
                  const std::string& output_name, double lag) {
  for (const auto& found :
       {longest_hole(output, output_name), longest_hole(input, input_name), jump_after_standstill(output, output_name),
        jump_after_standstill(input, input_name), silent_noise(output, output_name), silent_noise(input, input_name),
        ignored_motion(output, input, output_name, input_name, 0.0, lag),
        ignored_motion(input, output, input_name, output_name, lag, 0.0)})
    if (!found.empty()) return found;
  return "";
}

}  // namespace trackrod
