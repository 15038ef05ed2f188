#pragma once
// A signal of a capture from one end to the other, in pieces, so that memory does not grow with its length.

#include <cmath>

#include "harness/capture/view.hpp"

namespace trackrod {

// Calls visit(when, value) for every finite sample from <= when < to, in order; `when` is when the world was so: the
// stamp less the sensor's delay.
template <class Visit>
Result<void> walk(const CaptureView& capture, SignalIndex signal, BenchTime from, BenchTime to, Visit&& visit) {
  constexpr std::size_t few = 20'000, many = 200'000;
  const auto delay = capture.signals()[signal].delay;
  Duration piece = std::chrono::seconds{1};
  for (auto at = from; at < to;) {
    const auto end = to - at > piece ? at + piece : to;
    const auto points = capture.points(signal, at + delay, end + delay);
    if (!points) return tl::unexpected<Error>{points.error()};
    for (const auto& p : *points)
      if (std::isfinite(p.value)) visit(p.when - delay, p.value);
    at = end;
    constexpr Duration longest = std::chrono::hours{24}, shortest = std::chrono::milliseconds{1};
    if (points->size() < few && piece < longest) piece *= 2;
    if (points->size() > many && piece > shortest) piece /= 2;
  }
  return {};
}

}  // namespace trackrod
