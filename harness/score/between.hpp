#pragma once

namespace trackrod {

// An instant that lies between two samples.
struct Between {
  double t{0.0};           // s after the span's start: the middle
  double half_width{0.0};  // s

  double earliest() const { return t - half_width; }
  double latest() const { return t + half_width; }
};
inline Between between(double earliest, double latest) {
  return {0.5 * (earliest + latest), 0.5 * (latest - earliest)};
}

}  // namespace trackrod
