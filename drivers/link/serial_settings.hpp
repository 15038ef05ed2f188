#pragma once
// What a bench file says about a serial port: kind "serial".

#include <cstdint>
#include <optional>
#include <string>

#include "harness/base/fields.hpp"

namespace trackrod {

enum class Parity : std::uint8_t { none, even, odd };
enum class LineLevel : std::uint8_t { on, off };

// A bus of two wires, on which the port's driver switches the sender on by its RTS line.
struct Rs485Settings {
  LineLevel rts_while_sending{LineLevel::on};
  Duration before{}, after{};  // RTS leads and trails the bytes by so much; whole milliseconds
};

struct SerialSettings {
  std::string path;
  int baud{115200};
  int data_bits{8};
  Parity parity{Parity::none};
  int stop_bits{1};
  std::optional<bool> low_latency;  // not given: asked for, and nobody told when the driver does not know it
  std::optional<Rs485Settings> rs485;
  LineLevel dtr{LineLevel::on};
  bool hang_up{false};                             // drop DTR when the port is closed
  Duration settle{std::chrono::milliseconds{50}};  // after opening, before what came so far is thrown away

  // "115200 8N1"
  std::string line() const;
  // Time of one byte on the wire: start, data bits, parity, stop.
  Duration byte_time() const noexcept;
};
const Fields<SerialSettings>& serial_fields();

}  // namespace trackrod
