#pragma once
// Several datagrams taken from a socket in one call of the system, with what the kernel says of each.

#include <netinet/in.h>
#include <sys/socket.h>

#include <array>
#include <cstddef>
#include <span>

#include "drivers/link/kernel_words.hpp"

namespace trackrod {

class UdpBatch {
 public:
  static constexpr int room = 8;
  static constexpr std::size_t longest = 1500;

  UdpBatch() noexcept;
  UdpBatch(const UdpBatch&) = delete;
  UdpBatch& operator=(const UdpBatch&) = delete;

  // How many were there, up to `room`; -1 with errno set when none could be read. Does not block or allocate.
  int read(int socket) noexcept;

  struct Datagram {
    std::span<const std::byte> bytes;  // valid until the next read(); cut off when too long
    bool too_long{false};
    sockaddr_in from{};
    KernelWords words;
  };
  Datagram operator[](int i) const noexcept;

 private:
  struct Slot {
    std::array<std::byte, longest> bytes;
    alignas(cmsghdr) std::array<std::byte, kernel_words_room> control;
    sockaddr_in from;
    iovec data;
  };
  std::array<Slot, room> slots_;
  std::array<mmsghdr, room> messages_{};
};

}  // namespace trackrod
