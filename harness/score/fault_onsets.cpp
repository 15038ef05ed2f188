#include "harness/score/fault_onsets.hpp"

#include <algorithm>
#include <cmath>
#include <map>

#include "harness/score/findings.hpp"
#include "harness/score/series.hpp"

namespace trackrod {
namespace {

enum class Look : std::uint8_t { good, bad, open };

constexpr auto began_before = "the fault was there before the step began, so that its onset is not recorded";
constexpr double sure = 4.0;  // standard deviations of the noise beyond a bound

// Samples as they came: a sense line that never changes is no trouble here.
struct Sensed {
  std::vector<double> t, y;
  double stamp_half_width{0.0};
};

Sensed read_sensed(const ScoreInput& input, SignalIndex signal, const Span& span) {
  Sensed s;
  const auto delay = input.capture.signals()[signal].delay;
  const auto points = input.capture.points(signal, span.from + delay, span.to + delay);
  if (!points) return s;
  std::vector<double> widths;
  for (const auto& p : *points) {
    const double t = seconds(p.when - delay - span.from);
    if (!std::isfinite(p.value) || (!s.t.empty() && t <= s.t.back())) continue;
    s.t.push_back(t);
    s.y.push_back(p.value);
    widths.push_back(1e-9 * p.uncertainty_ns);
  }
  s.stamp_half_width = median_of(std::move(widths));
  return s;
}

}  // namespace

FaultStretches faults_in(const ScoreInput& input, const std::string& role, const Span& span, const FaultRule& rule) {
  const auto& info = input.capture.signals()[input.signal(role)];
  const auto s = read_sensed(input, input.signal(role), span);
  if (s.t.empty()) return {{}, "'" + info.name + "' has no samples", 0.0};
  const double margin = sure * noise_of(s.t, s.y), bounce = seconds(rule.bounce);
  const auto look = [&](double y) {
    const bool good = y >= rule.low && y <= rule.high;
    const double beyond = std::min(std::abs(y - rule.low), std::abs(y - rule.high));
    return beyond < margin ? Look::open : good ? Look::good : Look::bad;
  };
  const auto instant = [&](double earliest, double latest) {
    return between(earliest - s.stamp_half_width, latest + s.stamp_half_width);
  };

  FaultStretches out;
  for (std::size_t i = 1; i < s.t.size(); ++i) out.longest_gap = std::max(out.longest_gap, s.t[i] - s.t[i - 1]);
  std::optional<double> last_good, last_bad, good_since;  // good_since: while a fault may be over
  bool in_fault = false, known = true;
  const auto end_fault = [&] {
    if (known) out.found.back().end = instant(*last_bad, *good_since);
    in_fault = false, known = true;
    good_since.reset();
  };
  for (std::size_t i = 0; i < s.t.size(); ++i) {
    const auto now = look(s.y[i]);
    if (in_fault && good_since && s.t[i] - *good_since >= bounce) end_fault();
    if (now == Look::good) {
      if (in_fault && !good_since) good_since = s.t[i];
      last_good = s.t[i];
    } else if (now == Look::bad) {
      if (!in_fault) {
        in_fault = true, known = last_good.has_value();
        if (known)
          out.found.push_back({instant(*last_good, s.t[i]), std::nullopt, 0});
        else
          out.trouble = began_before;
      } else if (good_since && known) {
        ++out.found.back().bounces;
      }
      good_since.reset();
      last_bad = s.t[i];
    }
  }
  if (out.found.empty() && out.trouble.empty()) {
    const auto [least, most] = std::minmax_element(s.y.begin(), s.y.end());
    out.trouble =
        "'" + info.name + "' stays within " + with_unit(*least, info.unit) + " and " + with_unit(*most, info.unit);
  }
  return out;
}

FaultStretches faults_made_in(const CaptureView& capture, const Span& span) {
  struct Made {
    FaultStretch stretch;
    double made{0.0}, removed{0.0};  // s
    bool is_seen{true};
  };
  std::map<std::uint32_t, Made> present;  // by fault
  std::vector<Made> all;
  FaultStretches out;
  const double tick = seconds(capture.timing().tick);
  const auto since = [&](const Event& e) { return seconds(e.when - span.from); };
  const auto at_tick = [&](const Event& e) { return between(since(e), since(e) + tick); };
  // Of messages: the sender knows which one was the first.
  const auto is_exact = [](const Event& e) { return e.b == 1; };
  const auto finish = [&](Made& m) {
    if (m.is_seen) all.push_back(m);
  };
  for (const auto& e : capture.events()) {
    if (e.when < span.from || e.when >= span.to) continue;
    const auto at = present.find(e.a);
    switch (e.kind) {
      case EventKind::fault_made:
        if (at != present.end()) finish(at->second);
        present[e.a] = {{at_tick(e), std::nullopt, 0}, since(e)};
        break;
      case EventKind::fault_shown:
        if (at != present.end())
          at->second.stretch.begin = is_exact(e) ? at_tick(e) : between(at->second.made, since(e));
        break;
      case EventKind::fault_removed:
        if (at == present.end()) break;
        at->second.removed = since(e);
        at->second.stretch.end = at_tick(e);
        break;
      case EventKind::fault_gone:
        if (at != present.end())
          at->second.stretch.end = is_exact(e) ? at_tick(e) : between(at->second.removed, since(e));
        break;
      case EventKind::fault_not_shown:
        if (at != present.end()) at->second.is_seen = false;
        out.trouble = "the bench did not see the fault that it made";
        break;
      case EventKind::fault_not_made:
        out.trouble = "what should trigger the fault did not come";
        break;
      default:
        break;
    }
  }
  for (auto& [fault, made] : present) finish(made);
  std::ranges::sort(all, {}, &Made::made);
  for (auto& m : all) out.found.push_back(std::move(m.stretch));
  if (out.found.empty() && out.trouble.empty()) out.trouble = "no fault was made";
  return out;
}

}  // namespace trackrod
