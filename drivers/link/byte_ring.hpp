#pragma once
// Room for the bytes of messages of any length, each in one piece, handed out in order and given back in order. Short
// messages take little of it, and a long one fits as well.

#include <atomic>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace trackrod {

// One thread writes and one gives back. Allocates only when it is made.
class ByteRing {
 public:
  // At least twice the longest message, or that one never fits.
  explicit ByteRing(std::size_t bytes) : bytes_(bytes) {}

  // `size` bytes in one piece, to be filled; empty when they are not free. On the writing thread.
  std::span<std::byte> reserve(std::size_t size) noexcept {
    const std::size_t place = written_ % bytes_.size();
    const std::size_t skipped = place + size > bytes_.size() ? bytes_.size() - place : 0;
    if (written_ + skipped + size - freed_.load(std::memory_order_acquire) > bytes_.size()) return {};
    reserved_ = written_ + skipped;
    return std::span{bytes_}.subspan(reserved_ % bytes_.size(), size);
  }
  // The first `size` bytes of what was reserved last stay in use, until free() of the result.
  std::uint64_t keep(std::size_t size) noexcept { return written_ = reserved_ + size; }
  // What keep() gave last.
  std::uint64_t end() const noexcept { return written_; }
  // Gives back all that was kept up to `end`.
  void free(std::uint64_t end) noexcept { freed_.store(end, std::memory_order_release); }

 private:
  std::vector<std::byte> bytes_;
  std::uint64_t written_{0}, reserved_{0};  // counted since the beginning
  std::atomic<std::uint64_t> freed_{0};
};

}  // namespace trackrod
