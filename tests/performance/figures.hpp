#pragma once
// Parts of the performance program. Each measures its peer in the same invocation and prints both; none fails on speed.

#include <algorithm>
#include <cstdint>
#include <string>
#include <vector>

namespace trackrod::performance {

// Nearest rank; `sorted` must be sorted.
inline double percentile(const std::vector<double>& sorted, double percent) {
  if (sorted.empty()) return 0.0;
  const auto rank = static_cast<std::size_t>(percent / 100.0 * static_cast<double>(sorted.size()));
  return sorted[std::min(rank, sorted.size() - 1)];
}

void lateness();      // tick lateness at 1 and 4 kHz beside cyclictest
void added_time();    // datagram in to datagram out beside a bare socket echo
void capture_rate();  // sustained sample rate of the journal beside a plain write

}  // namespace trackrod::performance
