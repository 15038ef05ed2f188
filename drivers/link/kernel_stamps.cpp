#include "drivers/link/kernel_stamps.hpp"

#include <netinet/in.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <ctime>
#include <thread>

#include "drivers/link/endpoint.hpp"
#include "drivers/link/kernel_words.hpp"
#include "harness/base/time.hpp"

namespace trackrod {
namespace {

using namespace std::chrono_literals;

Duration wall_clock() {
  timespec ts{};
  clock_gettime(CLOCK_REALTIME, &ts);
  return std::chrono::seconds{ts.tv_sec} + Duration{ts.tv_nsec};
}

// A socket that sends to itself.
class Echo {
 public:
  Echo() : socket_{socket(AF_INET, SOCK_DGRAM | SOCK_CLOEXEC, 0)} {
    const int on = 1;
    setsockopt(socket_, SOL_SOCKET, SO_TIMESTAMPNS, &on, sizeof on);
    const auto here = Endpoint{INADDR_LOOPBACK, 0}.socket_address();
    bind(socket_, reinterpret_cast<const sockaddr*>(&here), sizeof here);
    socklen_t length = sizeof own_;
    getsockname(socket_, reinterpret_cast<sockaddr*>(&own_), &length);
  }
  ~Echo() { close(socket_); }
  Echo(const Echo&) = delete;
  Echo& operator=(const Echo&) = delete;

  // Sends one byte and waits until it is there.
  bool send() {
    pollfd readable{socket_, POLLIN, 0};
    return sendto(socket_, "", 1, 0, reinterpret_cast<const sockaddr*>(&own_), sizeof own_) == 1 &&
           poll(&readable, 1, 1000) == 1;
  }
  // Reads it and gives its stamp; zero when there is none.
  Duration stamp() {
    char byte{};
    alignas(cmsghdr) std::array<std::byte, kernel_words_room> control;
    iovec data{&byte, 1};
    msghdr message{};
    message.msg_iov = &data;
    message.msg_iovlen = 1;
    message.msg_control = control.data();
    message.msg_controllen = control.size();
    return recvmsg(socket_, &message, MSG_DONTWAIT) == 1 ? kernel_words(message).wall : Duration{};
  }

 private:
  int socket_;
  sockaddr_in own_{};
};

}  // namespace

Result<void> wait_for_kernel_stamps() {
  constexpr auto pause = 200us;
  constexpr int tries = 5000;
  Echo echo;
  for (int i = 0; i < tries; ++i) {
    if (!echo.send())
      return fail_os(
          Fault::internal,
          "the system's stamps of datagrams cannot be tried out; is the loopback interface up ('sudo ip link set lo "
          "up')?",
          errno);
    const auto there = wall_clock();
    std::this_thread::sleep_for(pause);
    const auto stamp = echo.stamp();
    if (stamp > Duration{} && stamp <= there) return {};
  }
  return fail(Fault::internal, "the system does not stamp datagrams when they come; times would be those of reading");
}

}  // namespace trackrod
