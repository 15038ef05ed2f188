#include "drivers/link/reader.hpp"

#include <sys/timerfd.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <ctime>
#include <utility>

namespace trackrod {
namespace {

// Every link is looked at this often even when nothing wakes us: a link without stamps of the kernel can then say of
// its bytes that they were not there a millisecond ago.
constexpr Duration sweep_period = std::chrono::milliseconds{1};
// Reads of one link in a row, so that a flooded link does not starve the others.
constexpr int reads_in_a_row = 256;
// Room for bytes, an arrival: most are short, and all of it is locked into memory.
constexpr std::size_t bytes_an_arrival = 512;
// Small, because it is locked into memory.
constexpr std::size_t stack_size = 256 * 1024;

}  // namespace

Reader::Reader(std::vector<Link*> links, std::size_t room)
    : links_{std::move(links)},
      states_(links_.size(), LinkState::open),
      loss_errors_(links_.size(), 0),
      polled_(links_.size() + 1),
      ring_{room},
      bytes_{std::max(room * bytes_an_arrival, 4 * longest_message)},
      nowhere_{} {
  for (std::size_t i = 0; i < links_.size(); ++i) polled_[i] = {links_[i]->descriptor(), POLLIN, 0};
}

Reader::~Reader() { stop(); }

Result<bool> Reader::start(int priority) {
  // A timer of its own, not poll's time limit: to set and to cancel one at each wake-up costs several microseconds
  // between a datagram and the ring (docs/decisions.md).
  sweep_timer_ = timerfd_create(CLOCK_MONOTONIC, TFD_CLOEXEC | TFD_NONBLOCK);
  constexpr itimerspec each_period{{0, sweep_period.count()}, {0, sweep_period.count()}};
  if (sweep_timer_ < 0 || timerfd_settime(sweep_timer_, 0, &each_period, nullptr) != 0) {
    const int error = errno;
    if (sweep_timer_ >= 0) close(std::exchange(sweep_timer_, -1));
    return fail_os(Fault::internal, "no thread for reading the links could be started", error);
  }
  polled_.back() = {sweep_timer_, POLLIN, 0};
  ending_ = false;

  pthread_attr_t attributes;
  pthread_attr_init(&attributes);
  pthread_attr_setstacksize(&attributes, stack_size);
  bool granted = priority > 0;
  if (granted) {
    const sched_param asked{priority};
    pthread_attr_setinheritsched(&attributes, PTHREAD_EXPLICIT_SCHED);
    pthread_attr_setschedpolicy(&attributes, SCHED_FIFO);
    pthread_attr_setschedparam(&attributes, &asked);
  }
  int error = pthread_create(&thread_, &attributes, run, this);
  if (error != 0 && granted) {
    granted = false;
    pthread_attr_setinheritsched(&attributes, PTHREAD_INHERIT_SCHED);
    error = pthread_create(&thread_, &attributes, run, this);
  }
  pthread_attr_destroy(&attributes);
  if (error != 0) {
    close(std::exchange(sweep_timer_, -1));
    return fail_os(Fault::internal, "no thread for reading the links could be started", error);
  }
  running_ = true;
  pthread_setname_np(thread_, "link reader");
  return granted;
}

void Reader::stop() noexcept {
  if (!running_) return;
  ending_ = true;  // seen at the next sweep
  pthread_join(thread_, nullptr);
  close(std::exchange(sweep_timer_, -1));
  running_ = false;
}

void* Reader::run(void* self) noexcept {
  static_cast<Reader*>(self)->watch();
  return nullptr;
}

void Reader::watch() noexcept {
  const SteadyTime clock;
  while (!ending_) {
    if (poll(polled_.data(), polled_.size(), -1) < 0)
      for (auto& p : polled_) p.revents = 0;  // interrupted: nothing is known
    const bool sweep = polled_.back().revents != 0;
    for (std::size_t i = 0; i < links_.size(); ++i) {
      const bool woke_us = polled_[i].revents != 0;
      const bool took = (woke_us || sweep) && drain(i, clock);
      // A hung-up descriptor wakes us for nothing, again and again: it sits out until the next sweep.
      const bool open = states_[i] == LinkState::open;
      if (!open || (woke_us && !took)) polled_[i].fd = -1;
      if (open && sweep) polled_[i].fd = links_[i]->descriptor();
    }
    std::uint64_t periods = 0;
    if (sweep) (void)!read(sweep_timer_, &periods, sizeof periods);  // last: it sets the timer anew
  }
}

void Reader::poll_inline(BenchTime now) noexcept {
  const VirtualTime clock{now};
  for (std::size_t i = 0; i < links_.size(); ++i) drain(i, clock);
}

bool Reader::drain(std::size_t i, const TimeSource& clock) noexcept {
  if (states_[i] == LinkState::loss_untold) tell_loss(i, clock.now());
  bool took = false;
  for (int reads = 0; states_[i] == LinkState::open && reads < reads_in_a_row; ++reads) {
    const auto room = bytes_.reserve(longest_message);
    const auto got = links_[i]->receive(room.empty() ? std::span<std::byte>{nowhere_} : room, clock.now());
    if (got.state == Received::State::nothing) break;
    took = true;
    if (got.state == Received::State::lost) {
      states_[i] = LinkState::loss_untold;
      loss_errors_[i] = got.error;
      tell_loss(i, clock.now());
      break;
    }
    const bool kept = !room.empty() && ring_.push({static_cast<std::uint16_t>(i), static_cast<std::uint16_t>(got.size),
                                                   0, got.stamp, room.data(), bytes_.keep(got.size)});
    if (!kept) ++dropped_;
  }
  return took;
}

void Reader::tell_loss(std::size_t i, BenchTime now) noexcept {
  const Stamp stamp{now, StampedBy::harness, sweep_period};
  // Without room now, it is told at the next look: a loss must not go unnoticed.
  if (ring_.push({static_cast<std::uint16_t>(i), 0, loss_errors_[i], stamp, nullptr, bytes_.end()}))
    states_[i] = LinkState::lost;
}

}  // namespace trackrod
