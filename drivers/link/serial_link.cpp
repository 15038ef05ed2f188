#include "drivers/link/serial_link.hpp"

#include <termios.h>
#include <unistd.h>

#include <cerrno>

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
    : settings_{settings},
      port_{port},
      opened_here_{opened_here},
      latency_{adapter_latency(port)},
      last_empty_{SteadyTime{}.now()} {}

SerialLink::~SerialLink() {
  if (opened_here_)
    close_serial_port(port_);
  else
    close(port_);
}

Received SerialLink::receive(std::span<std::byte> into, BenchTime now) noexcept {
  ssize_t size = 0;
  do size = read(port_, into.data(), into.size());
  while (size < 0 && errno == EINTR);
  if (size > 0) {
    const auto read_at = SteadyTime{}.now();
    const Stamp stamp{read_at, StampedBy::harness, read_at - last_empty_ + latency_};
    if (static_cast<std::size_t>(size) < into.size()) last_empty_ = now;
    ++counters_.received;
    counters_.received_bytes += static_cast<std::uint64_t>(size);
    return {Received::State::bytes, static_cast<std::size_t>(size), stamp, 0};
  }
  if (size < 0 && errno != EAGAIN) return {Received::State::lost, 0, {}, errno};
  // Nothing read may be an idle port or one that hung up: the port itself knows.
  termios t;
  if (size == 0 && tcgetattr(port_, &t) != 0) return {Received::State::lost, 0, {}, 0};
  last_empty_ = now;
  return {};
}

SendResult SerialLink::send(std::span<const std::byte> bytes, BenchTime) noexcept {
  std::size_t taken = 0;
  while (taken < bytes.size()) {
    const auto n = write(port_, bytes.data() + taken, bytes.size() - taken);
    if (n < 0 && errno == EINTR) continue;
    if (n < 0 && errno != EAGAIN) {
      ++counters_.send_failures;
      return {SendState::lost, taken, errno};
    }
    if (n <= 0) break;
    taken += static_cast<std::size_t>(n);
    counters_.sent_bytes += static_cast<std::uint64_t>(n);
  }
  if (taken < bytes.size()) return {SendState::would_block, taken, 0};
  ++counters_.sent;
  return {SendState::sent, taken, 0};
}

void SerialLink::drop_queued_output() noexcept { tcflush(port_, TCOFLUSH); }

LinkKind serial_kind() {
  using namespace std::chrono_literals;
  return {kind<SerialSettings>("serial", serial_fields),
          [](const std::any& any) -> Result<std::unique_ptr<Link>> {
            return SerialLink::open(std::any_cast<const SerialSettings&>(any));
          },
          [](const std::any& any, int descriptor) -> std::unique_ptr<Link> {
            return SerialLink::adopt(std::any_cast<const SerialSettings&>(any), descriptor);
          },
          [](const std::any& any) -> Result<std::unique_ptr<Link>> {
            return PtyLink::open(std::any_cast<const SerialSettings&>(any).path);
          },
          [](const std::any& any) {
            // An adapter without a latency timer, polled each millisecond by USB. Common practice, no source.
            const WirePath path{100us, 1ms, 0.0};
            const auto& settings = std::any_cast<const SerialSettings&>(any);
            return WireModel{WireModel::Mode::stream, path, path, settings.byte_time(), 0ns};
          }};
}

}  // namespace trackrod
