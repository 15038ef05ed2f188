#pragma once
// Faults of messages: the devices make them, and their own account says from which message on.

#include <span>
#include <vector>

#include "harness/bench/bench.hpp"
#include "harness/engine/device.hpp"
#include "harness/engine/fault_notes.hpp"

namespace trackrod {

// On the loop's thread. Allocates when it is made, and not after. Faults of other kinds are taken and left alone.
class MessageFaults {
 public:
  // The devices, in the bench's order, outlive it.
  MessageFaults(const Bench& bench, std::vector<Device*> devices);

  void make(std::size_t fault, BenchTime now) noexcept;
  void remove(std::size_t fault, BenchTime now, FaultNotes& notes) noexcept;
  // Once a tick, before the devices send: those that come and go.
  void advance(BenchTime now) noexcept;
  // Once a tick, after they sent: which messages were the first wrong ones, and the first right ones.
  void look(FaultNotes& notes) noexcept;
  // At once, before the devices send again: every message is right from now on.
  void stop(FaultNotes& notes) noexcept;

 private:
  enum class Look : std::uint8_t { nothing, begins, ends };
  struct Present {
    bool there{false};
    bool acts{false};  // not in the pause of one that comes and goes
    Look look{Look::nothing};
    BenchTime since{}, removed{};
  };
  const MessageFault* of_messages(std::size_t fault) const noexcept {
    return std::get_if<MessageFault>(&bench_.faults[fault].way);
  }
  void act(std::size_t fault, bool acts) noexcept;

  const Bench& bench_;
  std::vector<Device*> devices_;
  std::vector<Present> present_;  // by fault
};

}  // namespace trackrod
