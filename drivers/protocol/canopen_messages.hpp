#pragma once
// Messages of a CANopen device and about it, as numbers of 32 bits, and what they say in words.

#include <array>
#include <cstddef>
#include <cstdint>
#include <string>

#include "drivers/protocol/canopen_object.hpp"

namespace trackrod {

// The highest byte tells the kind. Below it stand 24 bits: an object (index and sub-index), or what the kind says. A
// set top bit is an SDO abort: 7 bits number its code, then the object.
enum class CanopenMessage : std::uint8_t {
  emergency = 1,         // error register, error code of 16 bits
  no_answer = 2,         // the object that was asked for
  identity_differs = 3,  // object
  not_mapped = 4,        // object that a field needs, in no PDO, and nothing says that it is to be asked for
  size_differs = 5,      // object whose size is not that of the type in the bench file
  foreign_pdo = 6,       // identifier of a PDO that is not listened to
  heartbeat_lost = 7,
  started_again = 8,         // the device sent its boot-up message
  left_operational = 9,      // NMT state that it went to
  drive_refused = 10,        // state it is in, state that was asked for (8 bits each)
  drive_left_by_itself = 11  // state it was in, state it is in
};

std::uint32_t canopen_message(CanopenMessage kind, std::uint32_t low = 0) noexcept;
std::uint32_t canopen_message(CanopenMessage kind, ObjectAddress object) noexcept;
std::uint32_t canopen_abort_message(std::uint32_t abort_code, ObjectAddress object) noexcept;
std::string describe_canopen(std::uint32_t message);

// Waiting messages. When nobody takes them, the newest one stands for those that found no room.
class MessageQueue {
 public:
  void put(std::uint32_t message) noexcept {
    if (count_ < all_.size()) ++count_;
    all_[count_ - 1] = message;
  }
  std::uint32_t take() noexcept {
    if (count_ == 0) return 0;
    const auto first = all_[0];
    for (std::size_t i = 1; i < count_; ++i) all_[i - 1] = all_[i];
    --count_;
    return first;
  }

 private:
  std::array<std::uint32_t, 16> all_{};
  std::size_t count_{0};
};

}  // namespace trackrod
