#pragma once
// Opening a UDP socket: one peer, a group or a whole network; what the system is asked for.

#include <cstdint>
#include <optional>

#include "drivers/link/endpoint.hpp"
#include "harness/base/error.hpp"

namespace trackrod {

struct UdpSettings {
  Endpoint local;  // port 0: any free one (not in a bench file)
  Endpoint peer;
  std::int64_t receive_buffer{1 << 20};  // bytes asked of the system
  std::optional<Endpoint> from{};        // where the device sends from; needed when `peer` is not one machine
  std::optional<std::uint32_t> group{};  // joined, to hear what is sent to it at `local`'s port
  bool broadcast{false};                 // `peer` may be, and arrivals may be addressed to, the whole network
  int hops{1};                           // routers that a message to a group may pass, and one
  bool loop{false};                      // messages to a group are heard on this machine too

  // The one sender that is listened to.
  Endpoint sender() const noexcept { return from.value_or(peer); }
  // A socket that shall hear what is addressed to many is bound to no address, and looks at each datagram's own.
  bool hears_many() const noexcept { return group || broadcast; }
};
const Fields<UdpSettings>& udp_fields();
// Settings that do not go together, told at their place in the file.
void check_udp(const UdpSettings& settings, const Node& node, Problems& problems);

bool is_group(std::uint32_t address) noexcept;

// The network card that has an address.
struct NetworkCard {
  int index{0};  // 0: no card has it
  std::uint32_t broadcast{0};
};
NetworkCard card_with(std::uint32_t address);

// Error kinds: refused (the address is taken or not allowed), bad_input (this machine does not have it, or the settings
// do not go together), internal.
Result<int> open_udp_socket(const UdpSettings& settings);
// Bytes of datagrams that the system keeps for this socket; half of what it reports is for its own books.
int udp_buffer_size(int socket) noexcept;

}  // namespace trackrod
