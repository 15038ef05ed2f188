#pragma once
// Finds steps, sweeps and holds in a signal, so that criteria can be applied to a recording that says nothing of them.
//
// The signal's own noise decides (noise_of in harness/score/series.hpp). A hold is where the means of short blocks stay
// within the tolerance and do not creep through it. A step goes from one hold to the next, on the way between their
// levels. For sweeps the signal's turning points are found with a hysteresis, as load histories are reduced to their
// reversals (ASTM E1049 has such points; from memory); like half cycles in a row are one sweep, of whole cycles.

#include <array>
#include <optional>
#include <string>
#include <vector>

#include "harness/capture/view.hpp"

namespace trackrod {

enum class SpanKind : std::uint8_t { steps, sweeps, holds };

struct FindSettings {
  SpanKind kind{SpanKind::steps};
  SignalIndex signal{no_signal};
  std::vector<std::string> names;  // given in turn, over and over; "-": leave that one out. Empty: step-1, step-2 ...
  Duration least{std::chrono::milliseconds{200}};  // a hold lasts at least this long
  std::optional<BenchTime> from{}, to{};           // looked at is only what lies between; empty: up to the end
  std::optional<double> tolerance{};               // within which a hold stays, in the signal's unit; empty: by itself
};

struct FoundSpan {
  Span span;
  double size{0.0};  // in the signal's unit: a step from level to level, a sweep from turn to turn, the level of a hold
  double rate{0.0};  // unit/s: from 10 to 90 % of a step, mean of a sweep, 0 of a hold
};
struct FoundSpans {
  std::vector<FoundSpan> all;
  double noise{0.0}, tolerance{0.0};  // that it was found with
};
// Reads the signal two or three times from one end to the other; what lies outside `from` and `to` counts for nothing,
// not for the noise or the tolerance either. Memory: a mean for each quarter of `least`. Error kind
// bad_input when there is nothing to look in, with the reason; what points() says. Nothing found is no error.
Result<FoundSpans> find_spans(const CaptureView& capture, const FindSettings& settings);

// A stretch at rest, and the parts of find_spans by themselves.
struct Hold {
  BenchTime from{}, to{};
  double level{0.0};
};
// A signal in short pieces of time; a piece without a sample is left out.
struct Block {
  BenchTime from{};
  double mean{0.0};
};
std::vector<Hold> holds_in(const std::vector<Block>& blocks, Duration block, Duration least, double tolerance);

struct Turn {
  BenchTime when{};
  double value{0.0};
};
// Takes samples one by one. A turn counts once the signal has gone back by `hysteresis`.
class TurnFinder {
 public:
  explicit TurnFinder(double hysteresis) : hysteresis_{hysteresis} {}
  void take(BenchTime when, double value);
  const std::vector<Turn>& turns() const { return turns_; }

 private:
  double hysteresis_;
  int direction_{0};  // of the motion; 0: not known yet
  bool any_{false};
  Turn low_, high_;  // since the last turn
  std::vector<Turn> turns_;
};

}  // namespace trackrod
