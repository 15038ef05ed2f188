#pragma once
// What the kernel says of a datagram beside its bytes, where the socket asked for it.

#include <sys/socket.h>

#include <cstdint>
#include <optional>

#include "harness/base/time.hpp"

namespace trackrod {

struct KernelWords {
  Duration wall{};                     // when it came, by the kernel's wall clock (SO_TIMESTAMPNS); zero: not said
  std::optional<std::uint32_t> drops;  // datagrams that the socket has dropped so far (SO_RXQ_OVFL); it wraps
  std::uint32_t to{0};                 // IPv4 address it was sent to, host order (IP_PKTINFO); zero: not said
  int card{0};                         // network interface it came by; zero: not said
};

// Room for all of them, for msghdr::msg_control.
inline constexpr std::size_t kernel_words_room = 128;

// Of a message as recvmsg() has filled it in. Does not allocate.
KernelWords kernel_words(const msghdr& message) noexcept;

}  // namespace trackrod
