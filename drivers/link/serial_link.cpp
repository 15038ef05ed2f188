#include "drivers/link/serial_link.hpp"

#include <termios.h>
#include <unistd.h>

#include "drivers/link/pty_link.hpp"

namespace trackrod {

Result<std::unique_ptr<SerialLink>> SerialLink::open(const SerialSettings& settings) {
  auto port = open_serial_port(settings);
  if (!port) return tl::unexpected<Error>{std::move(port.error())};
  return std::unique_ptr<SerialLink>{new SerialLink{settings, *port, true}};
}

std::unique_ptr<SerialLink> SerialLink::adopt(const SerialSettings& settings, int descriptor) {
  tcflush(descriptor, TCIFLUSH);
  return std::unique_ptr<SerialLink>{new SerialLink{settings, descriptor, false}};
}

SerialLink::SerialLink(const SerialSettings& settings, int port, bool opened_here)
    : settings_{settings}, port_{port}, opened_here_{opened_here}, latency_{adapter_latency(port)} {}

SerialLink::~SerialLink() {
  if (opened_here_)
    close_serial_port(port_);
  else
    close(port_);
}

Received SerialLink::receive(std::span<std::byte> into, BenchTime now) noexcept {
  const auto got = reads_.receive(port_, into, now, latency_, counters_);
  if (got.state != Received::State::lost || got.error != 0) return got;
  // A port that reads as ended may be idle or hung up: the port itself knows.
  termios t;
  if (tcgetattr(port_, &t) != 0) return got;
  reads_.found_empty(now);
  return {};
}

SendResult SerialLink::send(std::span<const std::byte> bytes, BenchTime) noexcept {
  return send_stream(port_, bytes, counters_, write);
}

void SerialLink::drop_queued_output() noexcept { tcflush(port_, TCOFLUSH); }

LinkKind serial_kind() {
  using namespace std::chrono_literals;
  return opened_by<SerialLink, SerialSettings>(
      kind<SerialSettings>("serial", serial_fields),
      [](const std::any& any) -> Result<std::unique_ptr<Link>> {
        return PtyLink::open(std::any_cast<const SerialSettings&>(any).path);
      },
      [](const std::any& any) {
        // An adapter without a latency timer, polled each millisecond by USB. Common practice, no source.
        const WirePath path{100us, 1ms, 0.0};
        const auto& settings = std::any_cast<const SerialSettings&>(any);
        return WireModel{WireModel::Mode::stream, path, path, settings.byte_time(), 0ns};
      },
      [](const std::any& any) { return "serial port " + std::any_cast<const SerialSettings&>(any).path; });
}

}  // namespace trackrod
