#pragma once
// Opening a serial port for one user: lock, raw mode, rate. What is particular to Linux ttys stands here, in
// serial_line.cpp and in custom_baud.cpp.

#include <string>
#include <vector>

#include "drivers/link/serial_settings.hpp"
#include "harness/base/error.hpp"

namespace trackrod {

// Opens, locks and sets up the port; waits `settle`. The caller closes the descriptor. Error kinds: link_lost (not
// there), refused (held by another program, no permission, settings not taken), bad_input (no serial port).
Result<int> open_serial_port(const SerialSettings& settings);
// Lets output go out for a moment, throws the rest away, gives the port free and closes it. May block for 0.2 s.
void close_serial_port(int descriptor) noexcept;

// The time for which the adapter may hold bytes back, as its driver says; zero when it says nothing.
Duration adapter_latency(int descriptor);
// What the technician should know: a name that changes, parity that was not taken, a slow adapter. Mostly empty.
std::string serial_remark(const SerialSettings& settings, int descriptor);

// The names in `folder` that lead to the port `path`, or to any port when `path` is empty.
std::vector<std::string> lasting_names(const std::string& path = "", const std::string& folder = "/dev/serial/by-id");

// serial_line.cpp. Sets raw bytes, the frame and the rate. 0 or errno.
int set_up_line(int descriptor, const SerialSettings& settings);
// The two-wire mode. 0 or errno: ENOTTY where the driver knows no such thing.
int set_rs485(int descriptor, const Rs485Settings& settings);
// Asks the driver to hand bytes on at once. False where it knows no such thing (pseudo-terminals).
bool ask_low_latency(int descriptor);
bool has_low_latency(int descriptor);
bool drop_dtr(int descriptor);

// Any rate, by way of the kernel's own interface (custom_baud.cpp). False with errno set when the driver refuses.
bool set_custom_baud(int descriptor, int baud) noexcept;
// The rate that the driver really uses; 0 when it does not say.
int baud_in_use(int descriptor) noexcept;

}  // namespace trackrod
