#include "drivers/link/reader.hpp"

#include <sys/eventfd.h>
#include <unistd.h>

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
// Small, because it is locked into memory.
constexpr std::size_t stack_size = 256 * 1024;

}  // namespace

Reader::Reader(std::vector<Link*> links, std::size_t room)
    : links_{std::move(links)},
      states_(links_.size(), LinkState::open),
      loss_errors_(links_.size(), 0),
      polled_(links_.size() + 1),
      ring_{room} {
  for (std::size_t i = 0; i < links_.size(); ++i) polled_[i] = {links_[i]->descriptor(), POLLIN, 0};
}

Reader::~Reader() { stop(); }

Result<bool> Reader::start(int priority) {
  wake_ = eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK);
  if (wake_ < 0) return fail_os(Fault::internal, "no thread for reading the links could be started", errno);
  polled_.back() = {wake_, POLLIN, 0};
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
    close(std::exchange(wake_, -1));
    return fail_os(Fault::internal, "no thread for reading the links could be started", error);
  }
  running_ = true;
  pthread_setname_np(thread_, "link reader");
  return granted;
}

void Reader::stop() noexcept {
  if (!running_) return;
  ending_ = true;
  eventfd_write(wake_, 1);
  pthread_join(thread_, nullptr);
  close(std::exchange(wake_, -1));
  running_ = false;
}

void* Reader::run(void* self) noexcept {
  static_cast<Reader*>(self)->watch();
  return nullptr;
}

void Reader::watch() noexcept {
  const SteadyTime clock;
  constexpr timespec timeout{0, sweep_period.count()};
  BenchTime swept{};
  while (!ending_) {
    if (ppoll(polled_.data(), polled_.size(), &timeout, nullptr) < 0)
      for (auto& p : polled_) p.revents = 0;  // interrupted: nothing is known
    const bool sweep = clock.now() - swept >= sweep_period;
    if (sweep) swept = clock.now();
    for (std::size_t i = 0; i < links_.size(); ++i) {
      const bool woke_us = polled_[i].revents != 0;
      const bool took = (woke_us || sweep) && drain(i, clock);
      // A hung-up descriptor wakes us for nothing, again and again: it sits out until the next sweep.
      const bool open = states_[i] == LinkState::open;
      if (!open || (woke_us && !took)) polled_[i].fd = -1;
      if (open && sweep) polled_[i].fd = links_[i]->descriptor();
    }
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
    const auto got = links_[i]->receive(scratch_.bytes, clock.now());
    if (got.state == Received::State::nothing) break;
    took = true;
    if (got.state == Received::State::lost) {
      states_[i] = LinkState::loss_untold;
      loss_errors_[i] = got.error;
      tell_loss(i, clock.now());
      break;
    }
    scratch_.link = static_cast<std::uint16_t>(i);
    scratch_.size = static_cast<std::uint16_t>(got.size);
    scratch_.error = 0;
    scratch_.stamp = got.stamp;
    if (!ring_.push(scratch_)) ++dropped_;
  }
  return took;
}

void Reader::tell_loss(std::size_t i, BenchTime now) noexcept {
  scratch_.link = static_cast<std::uint16_t>(i);
  scratch_.size = 0;
  scratch_.error = loss_errors_[i];
  scratch_.stamp = {now, StampedBy::harness, sweep_period};
  // Without room now, it is told at the next look: a loss must not go unnoticed.
  if (ring_.push(scratch_)) states_[i] = LinkState::lost;
}

}  // namespace trackrod
