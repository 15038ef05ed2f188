#include "drivers/link/udp_link.hpp"

#include <sys/socket.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <cstring>
#include <optional>
#include <utility>

#include "drivers/link/clock_pair.hpp"
#include "drivers/link/kernel_stamps.hpp"

namespace trackrod {
namespace {

using namespace std::chrono_literals;

// Reports of the peer's machine or of the network about an earlier datagram: silence follows, which the device's
// timeout watches. The socket itself is sound.
bool is_report(int error) {
  return error == ECONNREFUSED || error == EHOSTUNREACH || error == ENETUNREACH || error == EHOSTDOWN ||
         error == ENOPROTOOPT || error == EPROTO || error == EACCES || error == ENETDOWN;
}

// Half of what the kernel reports is for its own books; so much of the rest one short datagram costs (measured, as in
// the page on links).
constexpr int kernel_bytes_a_datagram = 832;

int buffer_size(int socket) {
  int size = 0;
  socklen_t length = sizeof size;
  getsockopt(socket, SOL_SOCKET, SO_RCVBUF, &size, &length);
  return size / 2;
}

void ask_for_buffer(int socket, int size) {
  // The forced form goes beyond net.core.rmem_max, where this process may do that.
  if (setsockopt(socket, SOL_SOCKET, SO_RCVBUFFORCE, &size, sizeof size) != 0)
    setsockopt(socket, SOL_SOCKET, SO_RCVBUF, &size, sizeof size);
}

std::string advice(const UdpSettings& settings, int error) {
  switch (error) {
    case EADDRINUSE:
      return "another program listens there ('ss -ulnp' names it): end it, or choose another port for \"local\"";
    case EADDRNOTAVAIL:
      return "this machine does not have that address ('ip address' lists those it has): give the one of the network "
             "card "
             "to which the device is connected, and see that the cable is in";
    case EACCES:
      return "ports below 1024 are kept for the system: choose one from 1024 to 65535, not " +
             std::to_string(settings.local.port);
    default:
      return "see the settings of the network card";
  }
}

}  // namespace

const Fields<UdpSettings>& udp_fields() {
  static const auto fields =
      Fields<UdpSettings>{"udp", "A UDP socket that talks to one peer."}
          .need("local", &UdpSettings::local, endpoint(), "address and port on which this machine listens")
          .need("peer", &UdpSettings::peer, endpoint(),
                "address and port of the device; others are counted and ignored")
          .may("receive_buffer", &UdpSettings::receive_buffer, integer<std::int64_t>(4096, 1 << 28),
               "bytes in which the system keeps what waits to be read (1048576 when not given)");
  return fields;
}

Result<std::unique_ptr<UdpLink>> UdpLink::open(const UdpSettings& settings) {
  const int s = socket(AF_INET, SOCK_DGRAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
  if (s < 0) return fail_os(Fault::internal, "no UDP socket could be made", errno);
  auto link = std::unique_ptr<UdpLink>{new UdpLink{settings, s, SteadyTime{}.now()}};

  const int on = 1;
  for (const auto& [level, option] :
       {std::pair{SOL_SOCKET, SO_TIMESTAMPNS}, {SOL_SOCKET, SO_RXQ_OVFL}, {IPPROTO_IP, IP_RECVERR}})
    if (setsockopt(s, level, option, &on, sizeof on) != 0)
      return fail_os(Fault::internal, "udp " + settings.local.text() + ": the system does not stamp or count datagrams",
                     errno);
  ask_for_buffer(s, static_cast<int>(settings.receive_buffer));

  if (auto stamping = wait_for_kernel_stamps(); !stamping) return tl::unexpected<Error>{std::move(stamping.error())};

  const auto here = settings.local.socket_address();
  if (bind(s, reinterpret_cast<const sockaddr*>(&here), sizeof here) != 0) {
    const int error = errno;
    auto failed = fail_os(error == EADDRNOTAVAIL ? Fault::bad_input : Fault::refused,
                          "udp " + settings.local.text() + " cannot be opened", error);
    failed.value().context += "; " + advice(settings, error);
    return failed;
  }
  return link;
}

std::unique_ptr<UdpLink> UdpLink::adopt(const UdpSettings& settings, int descriptor) {
  auto link = std::unique_ptr<UdpLink>{new UdpLink{settings, descriptor, SteadyTime{}.now()}};
  link->drop_input();
  return link;
}

UdpLink::UdpLink(const UdpSettings& settings, int socket, BenchTime now)
    : settings_{settings}, socket_{socket}, peer_{settings.peer.socket_address()}, last_empty_{now} {}

UdpLink::~UdpLink() { close(socket_); }

Endpoint UdpLink::local() const noexcept {
  sockaddr_in here{};
  socklen_t length = sizeof here;
  getsockname(socket_, reinterpret_cast<sockaddr*>(&here), &length);
  return Endpoint::of(here);
}

std::string UdpLink::describe() const { return "udp " + local().text() + " <- " + settings_.peer.text(); }

std::string UdpLink::remark() const {
  const auto size = buffer_size(socket_);
  if (size >= settings_.receive_buffer) return "";
  return describe() + ": the system gives a receive buffer of " + std::to_string(size) + " bytes, not " +
         std::to_string(settings_.receive_buffer) + "; more than about " +
         std::to_string(2 * size / kernel_bytes_a_datagram) +
         " waiting datagrams are lost; raise it: sudo sysctl net.core.rmem_max=" +
         std::to_string(settings_.receive_buffer);
}

Received UdpLink::receive(std::span<std::byte> into, BenchTime now) noexcept {
  constexpr int tries = 64;  // a flood from elsewhere must not hold the caller
  for (int i = 0; i < tries; ++i) {
    sockaddr_in from{};
    alignas(cmsghdr) std::array<std::byte, 128> control;
    iovec data{into.data(), into.size()};
    msghdr message{};
    message.msg_name = &from;
    message.msg_namelen = sizeof from;
    message.msg_iov = &data;
    message.msg_iovlen = 1;
    message.msg_control = control.data();
    message.msg_controllen = control.size();

    const auto size = recvmsg(socket_, &message, MSG_DONTWAIT);
    if (size >= 0) {
      const auto got = take(into, static_cast<std::size_t>(size), message);
      if (got.state == Received::State::bytes) return got;
    } else if (errno == EAGAIN) {
      if (take_refusals()) continue;
      last_empty_ = now;
      return {};
    } else if (errno != EINTR && !is_report(errno)) {
      return {Received::State::lost, 0, {}, errno};
    }
  }
  return {};
}

// What the kernel says of one datagram; `nothing` when it is not for us.
Received UdpLink::take(std::span<std::byte> into, std::size_t size, const msghdr& message) noexcept {
  std::optional<Duration> wall;
  for (cmsghdr* c = CMSG_FIRSTHDR(&message); c != nullptr; c = CMSG_NXTHDR(const_cast<msghdr*>(&message), c)) {
    if (c->cmsg_level != SOL_SOCKET) continue;
    if (c->cmsg_type == SCM_TIMESTAMPNS) {
      timespec ts{};
      std::memcpy(&ts, CMSG_DATA(c), sizeof ts);
      wall = std::chrono::seconds{ts.tv_sec} + Duration{ts.tv_nsec};
    } else if (c->cmsg_type == SO_RXQ_OVFL) {
      std::uint32_t drops = 0;
      std::memcpy(&drops, CMSG_DATA(c), sizeof drops);
      counters_.dropped_by_kernel += drops - std::exchange(kernel_drops_, drops);  // wraps as the kernel's counter does
    }
  }
  const auto& from = *static_cast<const sockaddr_in*>(message.msg_name);
  if (from.sin_addr.s_addr != peer_.sin_addr.s_addr || from.sin_port != peer_.sin_port) {
    ++counters_.foreign;
    return {};
  }
  if (size == 0 || size > into.size() || (message.msg_flags & MSG_TRUNC) != 0) {
    ++counters_.oversized;
    return {};
  }
  ++counters_.received;
  counters_.received_bytes += size;
  const auto [stamp, replaced] = map_kernel_stamp(wall.value_or(Duration{}), read_clock_pair(), last_empty_);
  if (replaced) ++counters_.stamps_replaced;
  return {Received::State::bytes, size, stamp, 0};
}

// Takes the reports that wait in the socket's error queue: they would wake poll() for ever. True when there was one.
bool UdpLink::take_refusals() noexcept {
  bool any = false;
  for (;;) {
    std::array<std::byte, 64> offender;
    alignas(cmsghdr) std::array<std::byte, 256> control;
    iovec data{offender.data(), offender.size()};
    msghdr message{};
    message.msg_iov = &data;
    message.msg_iovlen = 1;
    message.msg_control = control.data();
    message.msg_controllen = control.size();
    if (recvmsg(socket_, &message, MSG_ERRQUEUE | MSG_DONTWAIT) < 0) return any;
    ++counters_.refused;
    any = true;
  }
}

SendResult UdpLink::send(std::span<const std::byte> bytes, BenchTime) noexcept {
  // An error of a datagram before this one is handed out once, in place of sending: hence the second and third try.
  constexpr int tries = 3;
  int error = 0;
  for (int i = 0; i < tries; ++i) {
    if (sendto(socket_, bytes.data(), bytes.size(), MSG_DONTWAIT | MSG_NOSIGNAL,
               reinterpret_cast<const sockaddr*>(&peer_), sizeof peer_) >= 0) {
      ++counters_.sent;
      counters_.sent_bytes += bytes.size();
      return {SendState::sent, bytes.size(), 0};
    }
    error = errno;
    if (error != EINTR && !is_report(error)) break;
  }
  ++counters_.send_failures;
  if (error == EAGAIN || error == ENOBUFS) return {SendState::would_block, 0, error};
  return {SendState::lost, 0, error};
}

void UdpLink::drop_input() noexcept {
  constexpr int most = 1 << 16;  // a flood must not hold us
  std::array<std::byte, 1500> nowhere;
  for (int i = 0; i < most && receive(nowhere, SteadyTime{}.now()).state == Received::State::bytes; ++i) {
  }
  counters_ = {};
}

LinkKind udp_kind() {
  return {kind<UdpSettings>("udp", udp_fields),
          [](const std::any& any) -> Result<std::unique_ptr<Link>> {
            return UdpLink::open(std::any_cast<const UdpSettings&>(any));
          },
          [](const std::any& any, int descriptor) -> std::unique_ptr<Link> {
            return UdpLink::adopt(std::any_cast<const UdpSettings&>(any), descriptor);
          },
          [](const std::any& any) -> Result<std::unique_ptr<Link>> {
            auto other = std::any_cast<const UdpSettings&>(any);
            std::swap(other.local, other.peer);
            return UdpLink::open(other);
          },
          [](const std::any&) {
            // A bench's own network: one switch, 100 Mbit/s. Common practice, no source.
            const WirePath path{50us, 50us, 0.0};
            return WireModel{WireModel::Mode::datagrams, path, path, 80ns, kernel_stamp_half_width};
          }};
}

}  // namespace trackrod
