#include "harness/service/supervisor.hpp"

#include <systemd/sd-daemon.h>

#include <atomic>
#include <condition_variable>
#include <cstdlib>
#include <mutex>
#include <thread>

namespace trackrod {
namespace {

using namespace std::chrono_literals;

constexpr auto last_words = 1500ms;  // a sentence waits a second at most

Duration asked_watchdog() {
  std::uint64_t us = 0;
  return sd_watchdog_enabled(0, &us) > 0 ? Duration{std::chrono::microseconds{us}} : Duration{};
}

}  // namespace

struct Supervisor::State {
  std::atomic<std::int64_t> beat_ns{0};
  std::atomic<RunPhase> phase{RunPhase::driving};
  std::mutex mutex;  // of what follows
  std::condition_variable changed;
  std::string sentence;
  bool ending{false}, ended{false};

  void tell() {
    SupervisorWords words{asked_watchdog()};
    const SteadyTime time;
    std::unique_lock lock{mutex};
    for (bool over = false; !over;) {
      const auto text = words.due(time.now(), {phase.load(), BenchTime{Duration{beat_ns.load()}}, sentence});
      over = ending && words.said(sentence);
      lock.unlock();
      if (!text.empty()) sd_notify(0, text.c_str());  // may block while the service manager does not read
      lock.lock();
      if (!over) changed.wait_for(lock, words.period());
    }
    ended = true;
    changed.notify_all();
  }
};

Supervisor::Supervisor() : state_{std::make_shared<State>()} {
  if (std::getenv("NOTIFY_SOCKET") == nullptr) {
    state_->ended = true;
    return;
  }
  std::thread{[state = state_] { state->tell(); }}.detach();
}

Supervisor::~Supervisor() {
  std::unique_lock lock{state_->mutex};
  state_->ending = true;
  state_->changed.notify_all();
  state_->changed.wait_for(lock, last_words, [this] { return state_->ended; });
}

void Supervisor::look(BenchTime beat, bool stopping) noexcept {
  state_->beat_ns.store(beat.time_since_epoch().count(), std::memory_order_relaxed);
  if (stopping) state_->phase.store(RunPhase::stopping, std::memory_order_relaxed);
}

void Supervisor::finishing() noexcept { state_->phase.store(RunPhase::finishing); }

void Supervisor::say(const std::string& sentence) {
  const std::lock_guard lock{state_->mutex};
  state_->sentence = sentence;
}

}  // namespace trackrod
