#pragma once
// Opening a serial port for one user: lock, raw mode, rate. What is particular to Linux ttys stands here.

#include <string>

#include "harness/base/error.hpp"
#include "harness/base/fields.hpp"

namespace trackrod {

enum class Parity : std::uint8_t { none, even, odd };

struct SerialSettings {
  std::string path;
  int baud{115200};
  Parity parity{Parity::none};
  int stop_bits{1};
  Duration settle{std::chrono::milliseconds{50}};  // after opening, before what came so far is thrown away

  // "115200 8N1"
  std::string line() const;
  // Time of one byte on the wire: start, eight bits, parity, stop.
  Duration byte_time() const noexcept;
};
const Fields<SerialSettings>& serial_fields();

// Opens, locks and sets up the port; waits `settle`. The caller closes the descriptor. Error kinds: link_lost (not
// there), refused (held by another program, no permission, settings not taken), bad_input (no serial port).
Result<int> open_serial_port(const SerialSettings& settings);
// Lets output go out for a moment, throws the rest away, gives the port free and closes it. May block for 0.2 s.
void close_serial_port(int descriptor) noexcept;

// The time for which the adapter may hold bytes back, as its driver says; zero when it says nothing.
Duration adapter_latency(int descriptor);
// What the technician should know: a name that changes, parity that was not taken, a slow adapter. Mostly empty.
std::string serial_remark(const SerialSettings& settings, int descriptor);

// Any rate, by way of the kernel's own interface (custom_baud.cpp). False with errno set when the driver refuses.
bool set_custom_baud(int descriptor, int baud) noexcept;
// The rate that the driver really uses; 0 when it does not say.
int baud_in_use(int descriptor) noexcept;

}  // namespace trackrod
