#include "drivers/link/tcp_link.hpp"

#include <netinet/tcp.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <array>
#include <cerrno>

#include "drivers/link/tcp_far_end.hpp"

namespace trackrod {
namespace {

using namespace std::chrono_literals;

int milliseconds_of(Duration d) { return static_cast<int>(d / 1ms); }

tl::unexpected<Error> cannot_connect(const TcpSettings& s, int error) {
  auto fault = Fault::link_lost;
  std::string advice;
  if (error == ECONNREFUSED) {
    fault = Fault::refused;
    advice =
        "its machine is there, but nothing listens on that port: is the device's remote control switched on, and " +
        std::to_string(s.peer.port) + " its port?";
  } else if (error == ETIMEDOUT) {
    advice = "no answer within " + std::to_string(milliseconds_of(s.timeout)) +
             " ms: is the cable in and the device powered, and is the address right?";
  } else if (error == ENETUNREACH || error == EHOSTUNREACH) {
    advice =
        "this machine finds no way there ('ip route' shows those it has): is the cable in, and does a network card "
        "have an address in the device's network?";
  } else {
    fault = Fault::internal;
    advice = "see the settings of the network card";
  }
  auto failed = fail_os(fault, "tcp " + s.peer.text() + " cannot be reached", error);
  failed.value().context += "; " + advice;
  return failed;
}

// 0 or errno.
int connect_within(int socket, const Endpoint& peer, Duration timeout) {
  const auto there = peer.socket_address();
  if (connect(socket, reinterpret_cast<const sockaddr*>(&there), sizeof there) != 0) {
    if (errno != EINPROGRESS) return errno;
    const SteadyTime clock;
    pollfd writable{socket, POLLOUT, 0};
    const auto until = clock.now() + timeout;
    for (int ready = 0; ready == 0;) {
      const auto left = until - clock.now();
      if (left <= 0ns) return ETIMEDOUT;
      ready = poll(&writable, 1, milliseconds_of(left) + 1);
      if (ready < 0 && errno == EINTR) ready = 0;
      if (ready < 0) return errno;
    }
    int error = 0;
    socklen_t length = sizeof error;
    getsockopt(socket, SOL_SOCKET, SO_ERROR, &error, &length);
    if (error != 0) return error;
  }
  // Within one machine a port on which nobody listens may be the very one that the system gave us: TCP then connects
  // the socket with itself (RFC 9293, simultaneous open).
  sockaddr_in here{};
  socklen_t length = sizeof here;
  getsockname(socket, reinterpret_cast<sockaddr*>(&here), &length);
  return Endpoint::of(here) == peer ? ECONNREFUSED : 0;
}

}  // namespace

const Fields<TcpSettings>& tcp_fields() {
  static const auto fields =
      Fields<TcpSettings>{"tcp", "A TCP connection to a device."}
          .need("peer", &TcpSettings::peer, endpoint(), "address and port of the device")
          .may("timeout", &TcpSettings::timeout, duration(10ms, 60s),
               "longest wait for the connection, and for the device's machine to take what was sent (\"2 s\")");
  return fields;
}

Result<std::unique_ptr<TcpLink>> TcpLink::open(const TcpSettings& settings) {
  const int s = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
  if (s < 0) return fail_os(Fault::internal, "no TCP socket could be made", errno);
  auto link = std::unique_ptr<TcpLink>{new TcpLink{settings, s}};
  if (const int error = connect_within(s, settings.peer, settings.timeout); error != 0)
    return cannot_connect(settings, error);
  const int at_once = 1, patience = milliseconds_of(settings.timeout);
  if (setsockopt(s, IPPROTO_TCP, TCP_NODELAY, &at_once, sizeof at_once) != 0 ||
      setsockopt(s, IPPROTO_TCP, TCP_USER_TIMEOUT, &patience, sizeof patience) != 0)
    return fail_os(Fault::internal, "tcp " + settings.peer.text() + ": the system holds messages back", errno);
  return link;
}

std::unique_ptr<TcpLink> TcpLink::adopt(const TcpSettings& settings, int descriptor) {
  auto link = std::unique_ptr<TcpLink>{new TcpLink{settings, descriptor}};
  constexpr int most = 1 << 16;  // a flood must not hold us
  std::array<std::byte, 1500> nowhere;
  for (int i = 0; i < most && link->receive(nowhere, SteadyTime{}.now()).state == Received::State::bytes; ++i) {
  }
  link->counters_ = {};
  return link;
}

TcpLink::~TcpLink() { close(socket_); }  // no shutdown(): another process may still have the connection

Received TcpLink::receive(std::span<std::byte> into, BenchTime now) noexcept {
  return reads_.receive(socket_, into, now, Duration{}, counters_);
}

SendResult TcpLink::send(std::span<const std::byte> bytes, BenchTime) noexcept {
  return send_stream(socket_, bytes, counters_, [](int s, const void* from, std::size_t size) {
    return ::send(s, from, size, MSG_NOSIGNAL | MSG_DONTWAIT);
  });
}

LinkKind tcp_kind() {
  return opened_by<TcpLink, TcpSettings>(
      kind<TcpSettings>("tcp", tcp_fields),
      [](const std::any& any) -> Result<std::unique_ptr<Link>> {
        return TcpFarEnd::open(std::any_cast<const TcpSettings&>(any).peer);
      },
      [](const std::any&) {
        // As for UDP, without what TCP adds where datagrams are lost. Common practice, no source.
        const WirePath path{50us, 50us, 0.0};
        return WireModel{WireModel::Mode::stream, path, path, 80ns, 0ns};
      },
      [](const std::any&) { return std::string{}; });
}

}  // namespace trackrod
