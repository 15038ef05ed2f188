#include "drivers/link/udp_socket.hpp"

#include <ifaddrs.h>
#include <net/if.h>
#include <sys/socket.h>
#include <unistd.h>

#include <cerrno>
#include <memory>

#include "drivers/link/kernel_stamps.hpp"

namespace trackrod {
namespace {

constexpr std::uint32_t everywhere = INADDR_BROADCAST;

void ask_for_buffer(int socket, int size) {
  // The forced form goes beyond net.core.rmem_max, where this process may do that.
  if (setsockopt(socket, SOL_SOCKET, SO_RCVBUFFORCE, &size, sizeof size) != 0)
    setsockopt(socket, SOL_SOCKET, SO_RCVBUF, &size, sizeof size);
}

bool switch_on(int socket, int level, int option, int value = 1) {
  return setsockopt(socket, level, option, &value, sizeof value) == 0;
}

std::string advice(const UdpSettings& settings, int error) {
  switch (error) {
    case EADDRINUSE:
      return "another program listens there ('ss -ulnp' names it): end it, or choose another port for \"local\"";
    case EADDRNOTAVAIL:
    case ENODEV:
      return "this machine does not have that address ('ip address' lists those it has): give the one of the network "
             "card to which the device is connected, and see that the cable is in";
    case EACCES:
      return "ports below 1024 are kept for the system: choose one from 1024 to 65535, not " +
             std::to_string(settings.local.port);
    default:
      return "see the settings of the network card";
  }
}

tl::unexpected<Error> cannot_open(const UdpSettings& settings, int error) {
  const bool elsewhere = error == EADDRNOTAVAIL || error == ENODEV;
  auto failed = fail_os(elsewhere ? Fault::bad_input : Fault::refused,
                        "udp " + settings.local.text() + " cannot be opened", error);
  failed.value().context += "; " + advice(settings, error);
  return failed;
}

// 0 or errno.
int join_and_address(int s, const UdpSettings& settings) {
  ip_mreqn card{};
  card.imr_address.s_addr = htonl(settings.local.address);
  if (is_group(settings.peer.address)) {
    if (setsockopt(s, IPPROTO_IP, IP_MULTICAST_IF, &card, sizeof card) != 0 ||
        !switch_on(s, IPPROTO_IP, IP_MULTICAST_TTL, settings.hops) ||
        !switch_on(s, IPPROTO_IP, IP_MULTICAST_LOOP, settings.loop ? 1 : 0))
      return errno;
  }
  if (settings.broadcast && !switch_on(s, SOL_SOCKET, SO_BROADCAST)) return errno;
  if (settings.hears_many() && !switch_on(s, IPPROTO_IP, IP_PKTINFO)) return errno;
  if (!settings.group) return 0;
  card.imr_multiaddr.s_addr = htonl(*settings.group);
  // Else the socket hears every group that any program on this machine has joined.
  if (!switch_on(s, IPPROTO_IP, IP_MULTICAST_ALL, 0)) return errno;
  return setsockopt(s, IPPROTO_IP, IP_ADD_MEMBERSHIP, &card, sizeof card) == 0 ? 0 : errno;
}

Result<void> prepare(int s, const UdpSettings& settings) {
  if (!switch_on(s, SOL_SOCKET, SO_TIMESTAMPNS) || !switch_on(s, SOL_SOCKET, SO_RXQ_OVFL) ||
      !switch_on(s, IPPROTO_IP, IP_RECVERR))
    return fail_os(Fault::internal, "udp " + settings.local.text() + ": the system does not stamp or count datagrams",
                   errno);
  ask_for_buffer(s, static_cast<int>(settings.receive_buffer));
  if (auto stamping = wait_for_kernel_stamps(); !stamping) return stamping;

  const auto card = card_with(settings.local.address);
  if (!settings.broadcast && card.index != 0 && settings.peer.address == card.broadcast)
    return fail(Fault::bad_input, "udp " + settings.local.text() + ": " + settings.peer.text() +
                                      " addresses every machine of the network; if that is meant, say so with "
                                      "\"broadcast\": true and give \"from\"");
  if (settings.hears_many() && card.index == 0) return cannot_open(settings, EADDRNOTAVAIL);
  const auto here =
      (settings.hears_many() ? Endpoint{INADDR_ANY, settings.local.port} : settings.local).socket_address();
  if (bind(s, reinterpret_cast<const sockaddr*>(&here), sizeof here) != 0) return cannot_open(settings, errno);
  if (const int error = join_and_address(s, settings); error != 0) return cannot_open(settings, error);
  return {};
}

}  // namespace

const Fields<UdpSettings>& udp_fields() {
  static const auto fields =
      Fields<UdpSettings>{"udp", "A UDP socket that talks to one peer, a group or a whole network."}
          .need("local", &UdpSettings::local, endpoint(), "address and port on which this machine listens")
          .need("peer", &UdpSettings::peer, endpoint(),
                "address and port to which the bench sends; other senders are counted and ignored")
          .may("receive_buffer", &UdpSettings::receive_buffer, integer<std::int64_t>(4096, 1 << 28),
               "bytes in which the system keeps what waits to be read (1048576 when not given)")
          .may("from", &UdpSettings::from, maybe(endpoint()),
               "address and port from which the device sends, where that is not 'peer'")
          .may("group", &UdpSettings::group, maybe(group_address()),
               "multicast group that is joined, to hear what is sent to it at the port of 'local'")
          .may("broadcast", &UdpSettings::broadcast, flag(),
               "true: what is sent to every machine of the network is sent and heard (default: false)")
          .may("hops", &UdpSettings::hops, integer<int>(0, 255),
               "how far a message to a group may go: 0 this machine, 1 this network (default), more: past routers")
          .may("loop", &UdpSettings::loop, flag(),
               "true: messages to a group are heard on this machine too, as a simulated device needs (default: false)");
  return fields;
}

void check_udp(const UdpSettings& settings, const Node& node, Problems& problems) {
  const auto place = [&](const char* key) { return node.find(key) != nullptr ? node.find(key)->at : node.at; };
  const bool to_group = is_group(settings.peer.address);
  const bool to_all = settings.peer.address == everywhere;
  if (to_all && !settings.broadcast)
    problems.add(place("peer"), "found " + settings.peer.text() + ", every machine of the network",
                 "the address of one machine or of a group", "if it is meant, say so with \"broadcast\": true");
  if ((to_group || to_all) && !settings.from)
    problems.add(place("peer"), "found " + settings.peer.text() + ", from which no device sends",
                 "'from' beside it: address and port from which the device sends",
                 "every other sender is counted and ignored");
  if (settings.from && (is_group(settings.from->address) || settings.from->address == everywhere))
    problems.add(place("from"), "found " + settings.from->text() + ", from which no device sends",
                 "the address of one machine");
  if ((to_group || settings.hears_many()) && settings.local.address == INADDR_ANY)
    problems.add(place("local"), "found " + settings.local.text() + ", which is no network card's",
                 "the address of the network card to which the device is connected",
                 "a group or a broadcast goes over one card");
}

bool is_group(std::uint32_t address) noexcept { return IN_MULTICAST(address); }

NetworkCard card_with(std::uint32_t address) {
  ifaddrs* list = nullptr;
  if (getifaddrs(&list) != 0) return {};
  const std::unique_ptr<ifaddrs, void (*)(ifaddrs*)> owner{list, freeifaddrs};
  for (const auto* i = list; i != nullptr; i = i->ifa_next) {
    if (i->ifa_addr == nullptr || i->ifa_addr->sa_family != AF_INET || i->ifa_netmask == nullptr) continue;
    if (Endpoint::of(*reinterpret_cast<const sockaddr_in*>(i->ifa_addr)).address != address) continue;
    const auto mask = Endpoint::of(*reinterpret_cast<const sockaddr_in*>(i->ifa_netmask)).address;
    const bool has_room = (~mask & ~1U) != 0;  // two machines on a wire have no broadcast address (RFC 3021)
    return {static_cast<int>(if_nametoindex(i->ifa_name)), has_room ? address | ~mask : everywhere};
  }
  return {};
}

Result<int> open_udp_socket(const UdpSettings& settings) {
  const int s = socket(AF_INET, SOCK_DGRAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
  if (s < 0) return fail_os(Fault::internal, "no UDP socket could be made", errno);
  auto ready = prepare(s, settings);
  if (ready) return s;
  close(s);
  return tl::unexpected<Error>{std::move(ready.error())};
}

int udp_buffer_size(int socket) noexcept {
  int size = 0;
  socklen_t length = sizeof size;
  getsockopt(socket, SOL_SOCKET, SO_RCVBUF, &size, &length);
  return size / 2;
}

}  // namespace trackrod
