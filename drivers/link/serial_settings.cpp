#include "drivers/link/serial_settings.hpp"

namespace trackrod {
namespace {

using namespace std::chrono_literals;

Shape<LineLevel> level() { return choice<LineLevel>({{"on", LineLevel::on}, {"off", LineLevel::off}}); }

const Fields<Rs485Settings>& rs485_fields() {
  static const auto fields =
      Fields<Rs485Settings>{"rs485", "RS-485: the port's driver switches the sender on by its RTS line."}
          .may("rts_while_sending", &Rs485Settings::rts_while_sending, level(), "level of RTS while sending (\"on\")")
          .may("before", &Rs485Settings::before, duration(0s, 100ms),
               "from RTS to the first byte, whole milliseconds (0)")
          .may("after", &Rs485Settings::after, duration(0s, 100ms),
               "from the last byte to RTS, whole milliseconds (0)");
  return fields;
}

}  // namespace

std::string SerialSettings::line() const {
  const char* letter = parity == Parity::none ? "N" : parity == Parity::even ? "E" : "O";
  return std::to_string(baud) + " " + std::to_string(data_bits) + letter + std::to_string(stop_bits);
}

Duration SerialSettings::byte_time() const noexcept {
  const int bits = 1 + data_bits + (parity == Parity::none ? 0 : 1) + stop_bits;
  return Duration{1'000'000'000LL * bits / baud};
}

const Fields<SerialSettings>& serial_fields() {
  static const auto fields =
      Fields<SerialSettings>{"serial", "A serial port, no flow control."}
          .need("path", &SerialSettings::path, text(),
                "device file; take the one in /dev/serial/by-id, the others change their number")
          .may("baud", &SerialSettings::baud, integer<int>(50, 4000000), "bits a second (115200 when not given)")
          .may("data_bits", &SerialSettings::data_bits, integer<int>(5, 8), "data bits of a byte (8 when not given)")
          .may("parity", &SerialSettings::parity,
               choice<Parity>({{"none", Parity::none}, {"even", Parity::even}, {"odd", Parity::odd}}), "parity bit")
          .may("stop_bits", &SerialSettings::stop_bits, integer<int>(1, 2), "stop bits")
          .may("low_latency", &SerialSettings::low_latency, maybe(flag()),
               "true: ask the driver to hand bytes on at once, and say so when it cannot; false: leave it as it is")
          .may("rs485", &SerialSettings::rs485, maybe(object(rs485_fields)),
               "two-wire bus; left out: the adapter switches by itself, or it is no such bus")
          .may("dtr", &SerialSettings::dtr, level(), "the DTR line while the port is open (\"on\")")
          .may("hang_up", &SerialSettings::hang_up, flag(),
               "true: drop DTR at closing, which resets many boards (default: false)")
          .may("settle", &SerialSettings::settle, duration(0s, 10s),
               "wait after opening, for boards that restart then; what they say meanwhile is dropped");
  return fields;
}

}  // namespace trackrod
