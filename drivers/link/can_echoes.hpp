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
  // Without room it is not noted, and its echo then tells nothing.
  void sent(std::span<const std::byte> frame, BenchTime when) noexcept {
    const auto at = sent_.load(std::memory_order_relaxed);
    if (at - seen_.load(std::memory_order_acquire) == room) return;
    slots_[at % room] = {fingerprint(frame), when};
    sent_.store(at + 1, std::memory_order_release);
  }

  struct Echo {
    BenchTime sent{};
    std::uint32_t passed_over{0};  // frames sent before it, whose echoes did not come: the order is kept
  };
  // Empty for a frame that was not noted.
  std::optional<Echo> echo(std::span<const std::byte> frame) noexcept {
    const auto from = seen_.load(std::memory_order_relaxed), to = sent_.load(std::memory_order_acquire);
    const auto wanted = fingerprint(frame);
    for (auto at = from; at != to; ++at) {
      const auto slot = slots_[at % room];
      if (slot.fingerprint != wanted) continue;
      seen_.store(at + 1, std::memory_order_release);
      return Echo{slot.when, at - from};
    }
    return std::nullopt;
  }

 private:
  struct Slot {
    std::uint64_t fingerprint{0};
    BenchTime when{};
  };
  static constexpr std::uint32_t room = 64;

  // FNV-1a (Fowler, Noll, Vo), 64 bits.
  static std::uint64_t fingerprint(std::span<const std::byte> bytes) noexcept {
    std::uint64_t hash = 0xcbf29ce484222325U;
    for (const auto b : bytes) hash = (hash ^ std::to_integer<std::uint64_t>(b)) * 0x100000001b3U;
    return hash;
  }

  std::array<Slot, room> slots_{};
  std::atomic<std::uint32_t> sent_{0}, seen_{0};
};

}  // namespace trackrod
