#pragma once
// An internet address with a port, as bench files write it: "192.168.10.20:47110".

#include <netinet/in.h>

#include <cstdint>
#include <string>

#include "harness/base/fields.hpp"

namespace trackrod {

struct Endpoint {
  std::uint32_t address{0};  // IPv4, host byte order
  std::uint16_t port{0};     // 0: any that is free

  friend bool operator==(const Endpoint&, const Endpoint&) = default;
  std::string text() const;
  sockaddr_in socket_address() const noexcept;
  static Endpoint of(const sockaddr_in& from) noexcept;
};

// Ports 1 to 65535; names of hosts are refused, since looking them up may give another machine tomorrow.
Shape<Endpoint> endpoint();
// An address from 224.0.0.0 to 239.255.255.255 (RFC 5771), in host byte order.
Shape<std::uint32_t> group_address();

}  // namespace trackrod
