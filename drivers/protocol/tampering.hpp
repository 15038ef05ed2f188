#pragma once
// What a fault does to the messages of one kind on their way out: when there is one too many, and what is kept of them.

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "harness/base/message_fault.hpp"

namespace trackrod {

class Tampering {
 public:
  // Makes room for such a fault in messages of `length` bytes that are at least `apart`. Allocates; nothing else does.
  void expect(const MessageFault& fault, std::size_t length, Duration apart);

  // `counter`: of the message before.
  void begin(const MessageFault& fault, std::uint32_t counter, BenchTime last) noexcept;
  // What is kept is thrown away.
  void end() noexcept { there_ = false; }
  bool there() const noexcept { return there_; }
  const MessageFault& fault() const noexcept { return fault_; }

  // By its own account.
  void went_wrong(BenchTime now) noexcept {
    if (account_.first == BenchTime{}) account_.first = now;
  }
  void went_right(BenchTime now) noexcept {
    if (account_.first != BenchTime{} && account_.restored == BenchTime{}) account_.restored = now;
  }
  const Disturbance& account() const noexcept { return account_; }

  // A message that waits until `until`; without room it is lost.
  void hold(std::span<const std::byte> message, BenchTime until) noexcept;
  // The next that has waited long enough; empty when there is none. Valid until the next hold().
  std::span<const std::byte> ripe(BenchTime now) noexcept;

  // The message is to go out again, as often as the fault says.
  void keep(std::span<const std::byte> message) noexcept;
  // What keep() took, once more; empty when it was often enough.
  std::span<const std::byte> again() noexcept;

  // The message with bytes of 0 behind it, or cut short.
  std::span<const std::byte> resized(std::span<const std::byte> message) noexcept;

  // The fault's own beat, every `time` of it: true once for each.
  bool beats(BenchTime now) noexcept;
  // `times` in each beat.
  bool babbles(BenchTime now) noexcept;

  std::uint32_t counter{0};  // of the message before, as the fault has it

 private:
  struct Held {
    std::vector<std::byte> bytes;
    std::size_t size{0};
    BenchTime until{};
  };
  bool there_{false};
  MessageFault fault_;
  Disturbance account_;
  std::vector<Held> held_;  // a ring
  std::size_t first_held_{0}, held_count_{0};
  std::vector<std::byte> kept_;
  std::size_t kept_size_{0};
  int left_{0};  // of what goes out again, or more
  BenchTime next_beat_{};
};

}  // namespace trackrod
