#pragma once
// Messages that go wrong on their way to a device: what the bench file, the engine and a protocol say of them to each
// other.

#include <cstdint>
#include <string>
#include <vector>

#include "harness/base/time.hpp"

namespace trackrod {

// A message that the harness sends in cycles or on a change, as its protocol describes it.
struct MessageInfo {
  std::string name;
  std::vector<std::string> fields;  // the driven fields in it
  Duration cycle{};                 // zero: sent on a change only
  std::uint64_t counts{0};          // how many values its counter has; 0: it has none
  bool has_checksum{false};
  int length{0};             // bytes
  std::vector<int> lengths;  // that such a message may have on its link, growing
};

inline constexpr std::uint16_t every_message = UINT16_MAX;

struct MessageFault {
  enum class Kind : std::uint8_t {
    dropped,       // was sent, and does not arrive
    held_back,     // arrives `time` late, in order
    repeated,      // goes out `times` more: at once, or, `in_place`, instead of the next ones
    miscounted,    // its counter goes on by `step` instead of 1, everything else is right
    corrupted,     // its checksum does not fit, everything else is right
    wrong_length,  // has `step` bytes more, or less
    wrong_cycle,   // is sent every `time`
    silent,        // the device is sent nothing at all, and no counter goes on
    babbling       // `times` more of it every `time`, each a good one
  };
  Kind kind{Kind::dropped};
  std::uint16_t device{0};               // position in the bench's devices
  std::uint16_t message{every_message};  // position in the protocol's messages
  Duration time{};
  int times{1}, step{0};
  bool in_place{false};
};

// What became of such a fault, by the sender's own account. The epoch: not yet.
struct Disturbance {
  BenchTime first{};     // a message was due and did not go out, or went out as it should not
  BenchTime restored{};  // the first message that went out as it should after the fault had ended
};

// A sender whose messages can be made wrong. All on one thread; nothing here allocates, blocks or throws.
class Disturbable {
 public:
  virtual ~Disturbable() = default;
  // From now on its messages go out as the fault says. One fault at a time in a message.
  virtual void disturb(const MessageFault&) noexcept {}
  // From now on they go out as they should; what is held back is thrown away.
  virtual void leave(const MessageFault&) noexcept {}
  // Of the last such fault.
  virtual Disturbance disturbance(const MessageFault&) const noexcept { return {}; }
};

}  // namespace trackrod
