#include "harness/recording/find_spans.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>

#include "harness/base/units.hpp"
#include "harness/recording/signal_walk.hpp"
#include "harness/recording/spans_file.hpp"
#include "harness/score/series.hpp"

namespace trackrod {
namespace {

// Motion below this share of all there is in the recording is none, whatever the noise says.
constexpr double still_share = 0.01, turn_share = 0.05;
constexpr double alike = 0.25;          // neighbouring half cycles of one sweep differ by no more in size and time,
constexpr double alike_part = 1.6;      // and by no more than this factor in any part of the way
constexpr double moving_share = 0.4;    // of a half cycle's time that it is between 10 and 90 %: 0.8 of a triangle,
                                        // 0.59 of a sine, little of steps with holds between
constexpr double longest_part = 0.4;    // of that time, in one of five parts of the way
constexpr double most_overshoot = 0.5;  // of a step

class Finder {
 public:
  Finder(const CaptureView& capture, const FindSettings& settings)
      : capture_{capture},
        settings_{settings},
        info_{capture.signals()[settings.signal]},
        begin_{std::max(capture.begin() - info_.delay, settings.from.value_or(BenchTime::min()))},
        end_{std::min(capture.end() - info_.delay + Duration{1}, settings.to.value_or(BenchTime::max()))} {}

  Result<FoundSpans> find() {
    if (begin_ >= end_)
      return fail(Fault::bad_input, "nothing of the recording lies in the time to look in: it lasts from " +
                                        recording_time_text(capture_.begin()) + " to " +
                                        recording_time_text(capture_.end()));
    if (auto seen = look(); !seen) return tl::unexpected<Error>{seen.error()};
    auto found = settings_.kind == SpanKind::sweeps ? sweeps() : settings_.kind == SpanKind::steps ? steps() : rests();
    if (!found) return tl::unexpected<Error>{found.error()};
    out_.all = std::move(*found);
    name();
    return std::move(out_);
  }

 private:
  using Found = Result<std::vector<FoundSpan>>;

  // Blocks, noise and how far the signal goes.
  Result<void> look() {
    block_ = std::max(settings_.least / 4, Duration{1});
    double sum = 0.0;
    std::uint64_t in_block = 0, blocks_with = 0, samples = 0;
    auto from = begin_;
    const auto close = [&] {
      if (in_block > 0) blocks_.push_back({from, sum / static_cast<double>(in_block)}), ++blocks_with;
      sum = 0.0;
      in_block = 0;
    };
    const auto walked = walk(capture_, settings_.signal, begin_, end_, [&](BenchTime when, double value) {
      if (when - from >= block_) {
        close();
        from += (when - from) / block_ * block_;
      }
      sum += value;
      ++in_block;
      ++samples;
    });
    if (!walked) return walked;
    close();
    if (samples < 20)
      return fail(Fault::bad_input,
                  "'" + info_.name + "' has " + std::to_string(samples) + " samples: too few to find spans in");
    const auto [low, high] = std::minmax_element(blocks_.begin(), blocks_.end(),
                                                 [](const auto& a, const auto& b) { return a.mean < b.mean; });
    range_ = high->mean - low->mean;
    if (auto noise = read_noise(samples); !noise) return noise;
    const double averaged = out_.noise / std::sqrt(static_cast<double>(samples) / static_cast<double>(blocks_with));
    out_.tolerance =
        settings_.tolerance.value_or(std::max({8.0 * averaged, 2.0 * info_.resolution, still_share * range_}));
    if (range_ <= 2.0 * out_.tolerance)
      return fail(Fault::bad_input, "'" + info_.name + "' does not move: all of it lies within " + shown(range_, 3) +
                                        " " + info_.unit + ", which is noise");
    return {};
  }

  // Median of the noise of short stretches all over the recording.
  Result<void> read_noise(std::uint64_t samples) {
    constexpr int stretches = 40;
    constexpr double wanted = 500.0;  // samples each
    const auto total = end_ - begin_;
    const auto length = std::min(total, from_seconds(seconds(total) * wanted / static_cast<double>(samples)));
    std::vector<double> all;
    for (int i = 0; i < stretches; ++i) {
      std::vector<double> t, y;
      const auto from = begin_ + (total - length) / stretches * i;
      const auto walked = walk(capture_, settings_.signal, from, from + length, [&](BenchTime when, double value) {
        const double s = seconds(when - from);
        if (!t.empty() && s <= t.back()) return;
        t.push_back(s);
        y.push_back(value);
      });
      if (!walked) return walked;
      if (t.size() >= 20) all.push_back(noise_of(t, y));
    }
    out_.noise = std::max(median_of(std::move(all)), info_.resolution / std::sqrt(12.0));
    return {};
  }

  Span span(BenchTime from, BenchTime to) const { return {"", 0, from, to, true}; }

  Found rests() {
    std::vector<FoundSpan> found;
    for (const auto& hold : holds_in(blocks_, block_, settings_.least, out_.tolerance))
      found.push_back({span(hold.from, hold.to), hold.level, 0.0});
    return found;
  }

  Found steps() {
    std::vector<FoundSpan> found;
    const auto holds = holds_in(blocks_, block_, settings_.least, out_.tolerance);
    for (std::size_t i = 1; i < holds.size(); ++i) {
      const auto &before = holds[i - 1], &after = holds[i];
      const double size = after.level - before.level;
      if (std::abs(size) < 3.0 * out_.tolerance) continue;
      // The first block of the motion may look as still as the hold before it: begin and end a block earlier.
      const auto from = std::max(before.to - block_, before.from), to = std::max(after.to - block_, after.from);
      double farthest = 0.0;  // outside of the way from level to level, as a share of it
      std::optional<BenchTime> at10, at90;
      const auto walked =
          walk(capture_, settings_.signal, from, std::min(after.from + block_, to), [&](BenchTime when, double value) {
            const double share = (value - before.level) / size;
            farthest = std::max({farthest, -share, share - 1.0});
            if (share >= 0.1 && !at10) at10 = when;
            if (share >= 0.9 && !at90) at90 = when;
          });
      if (!walked) return tl::unexpected<Error>{walked.error()};
      if (!at10 || !at90 || farthest > most_overshoot) continue;
      // Between two samples the rate can be any.
      found.push_back({span(from, to), size, *at90 > *at10 ? 0.8 * size / seconds(*at90 - *at10) : INFINITY});
    }
    return found;
  }

  // Half a cycle, from turn to turn.
  struct Half {
    double size{0.0}, time{0.0};    // s
    std::array<double, 5> parts{};  // s: the way from 10 to 90 % in five parts
    double moving() const { return std::accumulate(parts.begin(), parts.end(), 0.0); }
    bool is_like(const Half& other) const {
      bool like =
          std::abs(size - other.size) <= alike * other.size && std::abs(time - other.time) <= alike * other.time;
      // A rest on the way, as between two sweeps, is long in one part.
      for (std::size_t i = 0; i < parts.size(); ++i)
        like = like && parts[i] <= alike_part * other.parts[i] && other.parts[i] <= alike_part * parts[i];
      return like;
    }
  };

  Found sweeps() {
    TurnFinder finder{std::max({10.0 * out_.noise, 4.0 * info_.resolution, turn_share * range_})};
    auto walked =
        walk(capture_, settings_.signal, begin_, end_, [&](BenchTime when, double value) { finder.take(when, value); });
    const auto& turns = finder.turns();
    std::vector<FoundSpan> found;
    if (walked && turns.size() < 3) return found;
    std::vector<Half> halves;
    for (std::size_t i = 1; i < turns.size(); ++i)
      halves.push_back({std::abs(turns[i].value - turns[i - 1].value), seconds(turns[i].when - turns[i - 1].when), {}});
    if (walked) walked = measure_motion(turns, halves);
    if (!walked) return tl::unexpected<Error>{walked.error()};
    // Neither at rest at its ends, as between two steps, nor on its way.
    const auto moves = [](const Half& h) {
      return h.moving() >= moving_share * h.time &&
             *std::max_element(h.parts.begin(), h.parts.end()) <= longest_part * h.moving();
    };
    for (std::size_t i = 0; i < halves.size();) {
      std::size_t j = i + 1;
      while (j < halves.size() && moves(halves[j - 1]) && moves(halves[j]) && halves[j].is_like(halves[j - 1])) ++j;
      const auto whole = (j - i) / 2 * 2;
      if (whole > 0 && moves(halves[i])) {
        double way = 0.0;
        for (auto k = i; k < i + whole; ++k) way += halves[k].size;
        const auto from = turns[i].when, to = turns[i + whole].when;
        found.push_back({span(from, to), way / static_cast<double>(whole), way / seconds(to - from)});
      }
      i = j;
    }
    return found;
  }

  // How long each half cycle is in each part of its way.
  Result<void> measure_motion(const std::vector<Turn>& turns, std::vector<Half>& halves) {
    std::size_t i = 0;
    std::optional<BenchTime> last;
    return walk(capture_, settings_.signal, turns.front().when, turns.back().when, [&](BenchTime when, double value) {
      while (i + 1 < halves.size() && when >= turns[i + 1].when) ++i;
      const double share = (value - turns[i].value) / (turns[i + 1].value - turns[i].value);
      auto& parts = halves[i].parts;
      if (last && share > 0.1 && share < 0.9)
        parts[std::min(parts.size() - 1, static_cast<std::size_t>((share - 0.1) / 0.8 * 5.0))] += seconds(when - *last);
      last = when;
    });
  }

  void name() {
    const std::string plain = settings_.kind == SpanKind::steps    ? "step-"
                              : settings_.kind == SpanKind::sweeps ? "sweep-"
                                                                   : "hold-";
    const auto& names = settings_.names;
    std::vector<FoundSpan> kept;
    for (std::size_t i = 0; i < out_.all.size(); ++i) {
      auto& found = out_.all[i];
      found.span.step = names.empty() ? plain + std::to_string(i + 1) : names[i % names.size()];
      if (found.span.step != "-") kept.push_back(found);
    }
    out_.all = std::move(kept);
  }

  const CaptureView& capture_;
  const FindSettings& settings_;
  const SignalInfo& info_;
  BenchTime begin_, end_;
  Duration block_{};
  std::vector<Block> blocks_;
  double range_{0.0};
  FoundSpans out_;
};

}  // namespace

Result<FoundSpans> find_spans(const CaptureView& capture, const FindSettings& settings) {
  return Finder{capture, settings}.find();
}

}  // namespace trackrod
