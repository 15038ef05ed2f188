#include "harness/base/clock_model.hpp"

#include <algorithm>
#include <bit>
#include <cmath>
#include <utility>

namespace trackrod {
namespace {

constexpr int blocks_that_show_the_spread = 4;
constexpr int blocks_that_show_a_step = 3;
constexpr int pairs_that_show_a_step = 3;
constexpr Duration longest_pause = std::chrono::seconds{2};  // over which a line is not drawn on
constexpr double greatest_drift = 5e-3;  // quartz stays below 1e-4; beyond this the tick is wrong, or a clock was set

}  // namespace

ClockModel::ClockModel(int bits, double tick) noexcept
    : mask_{bits >= 64 ? ~std::uint64_t{0} : (std::uint64_t{1} << bits) - 1}, tick_{tick} {}

Stamp ClockModel::stamp(std::uint64_t count, Stamp received) noexcept {
  if (!begun_) {
    begun_ = true;
    first_received_ = last_received_ = received.when;
    last_count_ = count & mask_;
  }
  if (received.when - last_received_ > longest_pause) start_anew(0);
  const double x = unwrap(count & mask_, received.when) * tick_;
  const Pair pair{x, seconds(received.when - first_received_) - x};
  const bool was_settled = settled();
  const double above = above_line(pair);
  if (was_settled && is_doubtful(pair)) return received;
  learn(pair);
  if (!was_settled || !settled()) return received;

  const double modelled = pair.x + height_ + slope_ * pair.x;
  // Either the message was late, or a clock was set: the truth is between the modelled time and the receipt.
  const double doubt = above > step_limit() ? above : 0.0;
  return {first_received_ + from_seconds(modelled), StampedBy::device,
          received.uncertainty + from_seconds(tick_ + spread_ + doubt)};
}

double ClockModel::ahead() const noexcept {
  if (!settled()) return 0.0;
  const double x = last_ticks_ * tick_;
  const double bench = seconds(first_received_.time_since_epoch()) + x + height_ + slope_ * x;
  const double turn = std::ldexp(tick_, 64 - std::countl_zero(mask_));
  return std::remainder(static_cast<double>(last_count_) * tick_ - bench, turn);
}

// The count nearest to where the time of receipt says that it should be.
double ClockModel::unwrap(std::uint64_t count, BenchTime received) noexcept {
  const double turn = std::ldexp(1.0, 64 - std::countl_zero(mask_));
  double ahead = static_cast<double>((count - last_count_) & mask_);
  const double expected = seconds(received - last_received_) / tick_;
  ahead += turn * std::round((expected - ahead) / turn);
  last_count_ = count;
  last_ticks_ += ahead;
  last_received_ = received;
  return last_ticks_;
}

// No message is received before it was sent. One or two such stamps are outliers; a third before the others have made
// sense for a while tells that a clock was set. Until that is known a late message may hide the step.
bool ClockModel::is_doubtful(const Pair& pair) noexcept {
  const bool is_from_the_future = above_line(pair) < -step_limit();
  if (!is_from_the_future && future_pairs_ == 0) return false;
  sound_pairs_ = is_from_the_future ? 0 : sound_pairs_ + 1;
  future_pairs_ += is_from_the_future ? 1 : 0;
  if (future_pairs_ == pairs_that_show_a_step) {
    ++steps_;
    start_anew(0);
  } else if (sound_pairs_ == pairs_that_show_a_step) {
    outliers_ += static_cast<std::uint64_t>(std::exchange(future_pairs_, 0));
    return false;
  }
  return true;
}

void ClockModel::learn(const Pair& pair) noexcept {
  const double below = settled() ? std::max(0.0, -above_line(pair)) : 0.0;
  height_ -= below;  // a faster exchange than any before: the line runs below it at once
  if (in_block_ && pair.x >= block_end_) end_block();
  if (!in_block_ || pair.x < block_end_ - 2.0 * block_time) {
    in_block_ = true;
    fastest_ = pair;
    block_end_ = pair.x + block_time;
  } else if (above_line(pair) < above_line(fastest_)) {
    fastest_ = pair;
  }
}

void ClockModel::end_block() noexcept {
  in_block_ = false;
  const bool is_late = settled() && above_line(fastest_) > step_limit();
  late_blocks_ = is_late ? late_blocks_ + 1 : 0;
  blocks_at_[static_cast<std::size_t>(next_)] = fastest_;
  next_ = (next_ + 1) % room;
  blocks_ = std::min(blocks_ + 1, room);
  if (late_blocks_ == blocks_that_show_a_step) {
    ++steps_;
    start_anew(blocks_that_show_a_step);
    return;
  }
  if (late_blocks_ > 0 || fit()) return;
  ++steps_;
  start_anew(1);
}

void ClockModel::start_anew(int keep) noexcept {
  blocks_ = keep;
  late_blocks_ = future_pairs_ = sound_pairs_ = 0;
  in_block_ = false;
  slope_ = height_ = spread_ = 0.0;
}

// The edge of the lower convex hull (Andrew's monotone chain) over the mean of all x.
bool ClockModel::fit() noexcept {
  if (blocks_ < 2) return true;
  std::array<Pair, room> hull;
  std::size_t size = 0;
  double mean = 0.0;
  const auto origin = block(blocks_ - 1);
  for (int back = blocks_ - 1; back >= 0; --back) {
    const Pair p{block(back).x - origin.x, block(back).y - origin.y};
    mean += p.x / blocks_;
    const auto turns_up = [&] {
      const auto &a = hull[size - 2], &b = hull[size - 1];
      return (b.x - a.x) * (p.y - a.y) - (b.y - a.y) * (p.x - a.x) > 0.0;
    };
    while (size >= 2 && !turns_up()) --size;
    hull[size++] = p;
  }
  std::size_t edge = 1;
  while (edge + 1 < size && hull[edge].x < mean) ++edge;
  const auto &a = hull[edge - 1], &b = hull[edge];
  if (!(b.x > a.x)) return false;
  slope_ = (b.y - a.y) / (b.x - a.x);
  height_ = origin.y + a.y - slope_ * (origin.x + a.x);
  double nearest = above_line(block(0)), farthest = nearest;
  for (int back = 1; back < std::min(blocks_, blocks_that_show_the_spread); ++back) {
    nearest = std::min(nearest, above_line(block(back)));
    farthest = std::max(farthest, above_line(block(back)));
  }
  spread_ = farthest + (farthest - nearest);  // what moved within a second moves on until the line is drawn anew
  return !settled() || std::abs(slope_) < greatest_drift;
}

}  // namespace trackrod
