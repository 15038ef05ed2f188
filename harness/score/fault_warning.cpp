#include "harness/score/fault_warning.hpp"

#include <algorithm>
#include <cmath>

#include "harness/score/series.hpp"

namespace trackrod {

ShownTrack read_shown(const ScoreInput& input, const std::string& role, const Span& span,
                      const std::function<Shown(double)>& what) {
  ShownTrack track;
  const auto signal = input.signal(role);
  const auto delay = input.capture.signals()[signal].delay;
  const auto points = input.capture.points(signal, span.from + delay, span.to + delay);
  if (!points) return track;
  std::vector<double> widths;
  for (const auto& p : *points) {
    if (!std::isfinite(p.value)) continue;
    track.t.push_back(seconds(p.when - delay - span.from));
    track.shown.push_back(what(p.value));
    widths.push_back(1e-9 * p.uncertainty_ns);
  }
  track.stamp_half_width = median_of(std::move(widths));
  return track;
}

FaultWarning warning_of(const ShownTrack& track, const FaultStretch& fault, double since, double until) {
  FaultWarning out;
  const double onset = fault.begin.earliest();
  const auto instant = [&](double earliest, double latest) {
    return between(earliest - track.stamp_half_width, latest + track.stamp_half_width);
  };
  const auto index = [&](double t) {
    return static_cast<std::size_t>(std::lower_bound(track.t.begin(), track.t.end(), t) - track.t.begin());
  };
  bool was_off = false;
  std::size_t i = index(since);
  for (; i < track.t.size() && track.t[i] <= onset; ++i) {
    if (track.shown[i] == Shown::none) was_off = true;
    if (track.shown[i] != Shown::none && was_off) out.false_before = true;
  }
  if (i > 0 && track.shown[i - 1] != Shown::none) {
    out.outcome = FaultWarning::Outcome::unclear;
    return out;
  }
  const std::size_t first = i, end = index(until);
  const auto first_of = [&](Shown what) -> std::optional<Between> {
    for (std::size_t k = first; k < end; ++k) {
      if (track.shown[k] != what) continue;
      double off_until = onset;  // the last sample that did not yet show it
      if (k > 0) off_until = std::max(onset, track.t[k - 1]);
      return instant(off_until, track.t[k]);
    }
    return std::nullopt;
  };
  const auto right = first_of(Shown::right), wrong = first_of(Shown::wrong);
  if (!right && !wrong) return out;
  out.outcome = wrong ? FaultWarning::Outcome::wrong : FaultWarning::Outcome::right;
  out.at = wrong ? wrong : right;

  std::optional<std::size_t> last;
  for (std::size_t k = first; k < end; ++k)
    if (track.shown[k] != Shown::none) last = k;
  if (*last + 1 >= end) {
    out.stayed = fault.end.has_value();
  } else if (!fault.end || track.t[*last + 1] <= fault.end->earliest()) {
    out.lapsed = true;
  } else {
    out.off = instant(std::max(track.t[*last], fault.end->earliest()), track.t[*last + 1]);
  }
  return out;
}

std::size_t times_shown(const ShownTrack& track) {
  std::size_t times = 0;
  for (std::size_t k = 0; k < track.shown.size(); ++k)
    if (track.shown[k] != Shown::none && (k == 0 || track.shown[k - 1] == Shown::none)) ++times;
  return times;
}

}  // namespace trackrod
