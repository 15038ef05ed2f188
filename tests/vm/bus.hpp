#pragma once
// Helpers for tests inside the virtual machine: commands, and a plain CAN socket as a peer that shares no code with the
// link under test.

#include <linux/can.h>
#include <linux/can/raw.h>
#include <net/if.h>
#include <poll.h>
#include <sys/ioctl.h>
#include <sys/socket.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <chrono>
#include <cstdlib>
#include <cstring>
#include <memory>
#include <string>
#include <vector>

#include "drivers/link/can_link.hpp"
#include "harness/base/can_frame.hpp"
#include "tests/catch.hpp"

namespace trackrod::test {

using namespace std::chrono_literals;
using Bytes = std::vector<std::byte>;

// Ends the test when the command fails.
inline void shell(const std::string& command) {
  INFO(command);
  REQUIRE(std::system(command.c_str()) == 0);
}

inline std::unique_ptr<CanLink> open_link(const std::string& interface, bool fd = false) {
  CanSettings settings;
  settings.interface = interface;
  settings.fd = fd;
  auto link = CanLink::open(settings);
  if (!link) FAIL(link.error().context);
  return std::move(*link);
}

inline Bytes numbered(std::uint32_t n, std::size_t size) {
  Bytes data(size);
  for (std::size_t i = 0; i < size; ++i) data[i] = static_cast<std::byte>(i < 4 ? n >> (8 * i) : i * 7 + n);
  return data;
}

inline Bytes datagram(const CanFrame& frame) {
  std::array<std::byte, greatest_can_datagram> room;
  const auto bytes = write_can(frame, room);
  return {bytes.begin(), bytes.end()};
}
inline Bytes datagram(std::uint32_t id, const Bytes& data) {
  return datagram({id, id > 0x7FF, false, false, data.size() > 8, false, false, data});
}

struct Got {
  Bytes bytes;
  Stamp stamp;
  int lost{0};  // errno

  CanFrame frame() const { return read_can(bytes).value_or(CanFrame{}); }
};
// The next frame, or nothing within the time.
inline std::vector<Got> receive(Link& link, std::size_t count, std::chrono::milliseconds patience = 2000ms) {
  const SteadyTime time;
  const auto end = time.now() + patience;
  std::vector<Got> all;
  std::array<std::byte, 1500> into;
  while (all.size() < count && time.now() < end) {
    const auto got = link.receive(into, time.now());
    if (got.state == Received::State::nothing) {
      pollfd readable{link.descriptor(), POLLIN, 0};
      poll(&readable, 1, 5);
      continue;
    }
    all.push_back({Bytes(into.begin(), into.begin() + static_cast<std::ptrdiff_t>(got.size)), got.stamp,
                   got.state == Received::State::lost ? std::max(1, got.error) : 0});
    if (got.state == Received::State::lost) break;
  }
  return all;
}

class PlainSocket {
 public:
  explicit PlainSocket(const std::string& interface) : socket_{socket(PF_CAN, SOCK_RAW | SOCK_CLOEXEC, CAN_RAW)} {
    REQUIRE(socket_ >= 0);
    ifreq request{};
    interface.copy(request.ifr_name, IFNAMSIZ - 1);
    REQUIRE(ioctl(socket_, SIOCGIFINDEX, &request) == 0);
    const int on = 1;
    REQUIRE(setsockopt(socket_, SOL_CAN_RAW, CAN_RAW_FD_FRAMES, &on, sizeof on) == 0);
    sockaddr_can address{};
    address.can_family = AF_CAN;
    address.can_ifindex = request.ifr_ifindex;
    REQUIRE(bind(socket_, reinterpret_cast<const sockaddr*>(&address), sizeof address) == 0);
  }
  ~PlainSocket() { close(socket_); }
  PlainSocket(const PlainSocket&) = delete;
  PlainSocket& operator=(const PlainSocket&) = delete;

  // `id` with the flag bits of linux/can.h.
  void send(std::uint32_t id, const Bytes& data) const {
    canfd_frame frame{};
    frame.can_id = id;
    frame.len = static_cast<std::uint8_t>(data.size());
    std::memcpy(frame.data, data.data(), data.size());
    const std::size_t size = data.size() > 8 ? CANFD_MTU : CAN_MTU;
    ssize_t written = -1;
    for (int tries = 0; tries < 2000 && written < 0; ++tries) {
      written = write(socket_, &frame, size);
      if (written < 0) usleep(1000);  // its queue is full
    }
    REQUIRE(written == static_cast<ssize_t>(size));
  }
  // Sends until the system takes no more; errno then.
  int flood(std::uint32_t id) const {
    can_frame frame{};
    frame.can_id = id;
    for (int i = 0; i < 10000; ++i)
      if (::send(socket_, &frame, sizeof frame, MSG_DONTWAIT) < 0) return errno;
    return 0;
  }
  // An empty one when nothing comes within a second.
  canfd_frame receive() const {
    canfd_frame frame{};
    pollfd readable{socket_, POLLIN, 0};
    if (poll(&readable, 1, 1000) == 1 && read(socket_, &frame, sizeof frame) < 0) frame = {};
    return frame;
  }

 private:
  int socket_;
};

}  // namespace trackrod::test
