#pragma once
// The frames that one socket sent and has not seen on the bus yet: a frame comes back as an echo when it was sent.

#include <array>
#include <atomic>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>

#include "harness/base/time.hpp"

namespace trackrod {

// One thread notes what it sends, another one matches the echoes. Neither waits nor allocates.
class CanEchoes {
 public:
  // To be called before the frame is handed over: its echo may come before the system returns. Without room it is not
  // noted, and its echo then tells nothing.
  void offer(std::span<const std::byte> frame, BenchTime when) noexcept {
    const auto end = end_.load(std::memory_order_relaxed);
    noted_ = last_is_void_ || end - begin_.load(std::memory_order_acquire) < room;
    if (!noted_) return;
    auto& slot = slots_[(last_is_void_ ? end - 1 : end) % room];
    slot.when = when;
    slot.fingerprint.store(fingerprint(frame), std::memory_order_release);
    if (!last_is_void_) end_.store(end + 1, std::memory_order_release);
    last_is_void_ = false;
  }
  // The system did not take the frame that was offered last.
  void refused() noexcept {
    if (!noted_) return;
    slots_[(end_.load(std::memory_order_relaxed) - 1) % room].fingerprint.store(no_frame, std::memory_order_release);
    last_is_void_ = true;
  }

  struct Echo {
    BenchTime sent{};
    std::uint32_t passed_over{0};  // frames sent before it, whose echoes did not come: the order is kept
  };
  // Empty for a frame that was not noted.
  std::optional<Echo> echo(std::span<const std::byte> frame) noexcept {
    const auto begin = begin_.load(std::memory_order_relaxed), end = end_.load(std::memory_order_acquire);
    const auto wanted = fingerprint(frame);
    std::uint32_t passed_over = 0;
    for (auto at = begin; at != end; ++at) {
      const auto& slot = slots_[at % room];
      const auto found = slot.fingerprint.load(std::memory_order_acquire);
      if (found == wanted) {
        const Echo echo{slot.when, passed_over};
        begin_.store(at + 1, std::memory_order_release);
        return echo;
      }
      if (found != no_frame) ++passed_over;
    }
    return std::nullopt;
  }

 private:
  struct Slot {
    std::atomic<std::uint64_t> fingerprint{no_frame};
    BenchTime when{};
  };
  static constexpr std::uint32_t room = 64;
  static constexpr std::uint64_t no_frame = 0;

  // FNV-1a (Fowler, Noll, Vo), 64 bits.
  static std::uint64_t fingerprint(std::span<const std::byte> bytes) noexcept {
    std::uint64_t hash = 0xcbf29ce484222325U;
    for (const auto b : bytes) hash = (hash ^ std::to_integer<std::uint64_t>(b)) * 0x100000001b3U;
    return hash == no_frame ? 1 : hash;
  }

  std::array<Slot, room> slots_{};
  std::atomic<std::uint32_t> end_{0}, begin_{0};
  bool noted_{false}, last_is_void_{false};  // of the sending thread
};

}  // namespace trackrod
