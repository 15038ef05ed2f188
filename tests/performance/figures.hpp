#pragma once
// Parts of the performance program. Each measures its peer in the same invocation and prints both; none fails on speed.

#include <algorithm>
#include <cstddef>
#include <vector>

namespace trackrod::performance {

// How long to measure. The shorter one is for work on the program; its figures are not to be kept.
struct Wish {
  int rounds{9};          // of the capture
  int blocks{10};         // of the lateness, ours and the peer's in turn
  int block_seconds{10};  // of each
  int echoes{5000};       // datagrams there and back
  int hours{8};           // of the rehearsal, and of what is scored
  int scorings{5};        // of it, by us and by the peer in turn
};
inline constexpr Wish short_wish{3, 6, 2, 1000, 1, 9};

void lateness(const Wish& wish);      // tick lateness at 1 and 4 kHz beside cyclictest
void added_time(const Wish& wish);    // datagram in to datagram out beside a bare socket echo
void capture_rate(const Wish& wish);  // sustained sample rate of the journal beside a plain write
void rehearsal(const Wish& wish);     // a night in virtual time, and its memory
void score_night(const Wish& wish);   // scoring a night beside a script that does the same, and beside just reading it
void safe_state(const Wish& wish);    // from each way of failing to the safe state

// Nearest rank; `sorted` must be sorted. 0 of none.
inline double percentile(const std::vector<double>& sorted, double percent) {
  if (sorted.empty()) return 0.0;
  const auto rank = static_cast<std::size_t>(percent / 100.0 * static_cast<double>(sorted.size()));
  return sorted[std::min(rank, sorted.size() - 1)];
}

// Of the values in any order.
inline double median(std::vector<double> values) {
  std::sort(values.begin(), values.end());
  return percentile(values, 50);
}

}  // namespace trackrod::performance
