#pragma once
// The clock of a device that stamps its own samples, seen from the bench clock.
//
// Each message gives a pair: the device's count, and when we received it. Receipt is later than the stamp by a delay
// that is never negative, so the true relation runs below all pairs and touches the fastest. The model is the straight
// line below the pairs of the last 16 seconds that comes nearest to them in sum: a linear program, solved exactly over
// the fastest pair of each quarter second. (The line of least sum below all points is an edge of their lower convex
// hull.)
//
// The delay of the fastest exchange itself stays in the result, as the asymmetry of the path does in any such method:
// it belongs to the bench's `clock_asymmetry` and the sensor's `delay`.

#include <array>
#include <cstddef>
#include <cstdint>

#include "harness/base/time.hpp"

namespace trackrod {

class ClockModel {
 public:
  // `bits` of the count, 8 to 64; it begins anew at 2^bits. `tick`: seconds a count.
  ClockModel(int bits, double tick) noexcept;

  // The time at which the device took its stamp. Learns from the pair.
  //
  // While the model knows too little (the first two seconds, and as long after a step of either clock or a pause of
  // more than two seconds), and where a stamp comes from the future, it is the receipt as it came. Otherwise it is
  // stamped by the device, and the half-width holds the tick, the receipt's own half-width, and how far the fastest
  // exchanges of the last second stayed away from the line (which shows wander, a slower path, and steps too small to
  // be told). A message that is so late that a step may be behind it is believed from its modelled time up to its
  // receipt.
  //
  // Allocates nothing. Messages may overtake each other. A count is told from its neighbours by the time of receipt,
  // which must be right to half a turn of the counter.
  Stamp stamp(std::uint64_t count, Stamp received) noexcept;

  // Enough is known.
  bool settled() const noexcept { return blocks_ >= least_blocks; }
  // How much faster the bench's clock runs than the device's: seconds a second. 0 until settled.
  double drift() const noexcept { return settled() ? slope_ : 0.0; }
  // How far the device's clock was ahead of the bench's at the last message, by the model: its count as a time, less
  // the bench time of that instant, in seconds within half a turn of the count. 0 until settled.
  double ahead() const noexcept;
  // Half-width of the present model, without tick and receipt.
  Duration residual() const noexcept { return from_seconds(spread_); }
  std::uint64_t steps() const noexcept { return steps_; }        // of either clock
  std::uint64_t outliers() const noexcept { return outliers_; }  // stamps from the future, one or two in a row

 private:
  static constexpr int room = 64;         // blocks
  static constexpr int least_blocks = 8;  // of which a model can be made
  static constexpr double block_time = 0.25;
  static constexpr double least_step = 0.5e-3;  // seconds: smaller ones are not told from changing delays

  // Device time x and receipt minus device time y, both in seconds from the first pair. A line in these has slope and
  // height near zero, so nothing is lost to rounding over days.
  struct Pair {
    double x{0.0}, y{0.0};
  };
  double unwrap(std::uint64_t count, BenchTime received) noexcept;
  double above_line(const Pair& pair) const noexcept { return pair.y - (height_ + slope_ * pair.x); }
  double step_limit() const noexcept { return least_step + 4.0 * spread_; }
  bool is_doubtful(const Pair& pair) noexcept;
  void learn(const Pair& pair) noexcept;
  void end_block() noexcept;
  // False when the pairs lie on no line that two clocks could have.
  bool fit() noexcept;
  void start_anew(int keep) noexcept;
  const Pair& block(int back) const noexcept {
    return blocks_at_[static_cast<std::size_t>((next_ - 1 - back + 2 * room) % room)];
  }

  std::uint64_t mask_;
  double tick_;

  bool begun_{false};
  BenchTime first_received_{}, last_received_{};
  std::uint64_t last_count_{0};
  double last_ticks_{0.0};  // unwrapped, from the first count on

  std::array<Pair, room> blocks_at_{};  // the fastest pair of each block, a ring
  int next_{0}, blocks_{0};
  Pair fastest_{};  // of the block that is being filled
  double block_end_{0.0};
  bool in_block_{false};
  int late_blocks_{0};  // in a row whose fastest pair was late by a step
  int future_pairs_{0},
      sound_pairs_{0};  // stamps from the future not yet judged; in a row, others since the last of them
  double slope_{0.0}, height_{0.0};
  double spread_{0.0};
  std::uint64_t steps_{0}, outliers_{0};
};

}  // namespace trackrod
