#pragma once
// What the system says of a CAN interface: whether it is there and up, and how its controller is set.

#include <cstdint>
#include <optional>
#include <string>

#include "harness/base/error.hpp"
#include "harness/base/time.hpp"

namespace trackrod {

struct CanSettings {
  std::string interface;
  bool fd{false};
  int bit_rate{500000};                  // of the arbitration, bits a second
  std::optional<int> data_bit_rate;      // FD: of the data, where it is switched
  std::optional<Duration> stamp_within;  // half-width of the kernel's stamps, where it is known better than we guess
  Duration give_up{std::chrono::milliseconds{20}};  // a frame that the bus does not take for so long is dropped
  std::int64_t receive_buffer{1 << 20};             // bytes asked of the system
};

struct CanInterface {
  int index{0};
  bool is_can{false}, is_up{false}, is_usb{false};
  bool takes_fd{false};
  std::string queue;  // what queues its frames, "pfifo_fast"
  // Of a controller; a virtual bus has none of these.
  std::optional<std::uint32_t> bit_rate, data_bit_rate, restart_ms;
  bool bus_off{false};
};

// May block and allocate. Error kinds: bad_input (there is none of that name), internal.
Result<CanInterface> look_at_can(const std::string& name);

// Whether a device can be reached through it as the settings say. Error kinds: bad_input, refused. The sentence names
// the command that helps.
Result<void> check_can(const CanSettings& settings, const CanInterface& interface);
// What the technician should know of it; mostly empty.
std::string can_remark(const CanSettings& settings, const CanInterface& interface);

}  // namespace trackrod
