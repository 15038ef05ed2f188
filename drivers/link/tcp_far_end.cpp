#include "drivers/link/tcp_far_end.hpp"

#include <netinet/tcp.h>
#include <sys/epoll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <cerrno>
#include <utility>

namespace trackrod {
namespace {

bool watch(int either, int descriptor) noexcept {
  epoll_event readable{};
  readable.events = EPOLLIN;
  return epoll_ctl(either, EPOLL_CTL_ADD, descriptor, &readable) == 0;
}

}  // namespace

Result<std::unique_ptr<TcpFarEnd>> TcpFarEnd::open(const Endpoint& here) {
  const int listener = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
  const int either = epoll_create1(EPOLL_CLOEXEC);
  auto link = std::unique_ptr<TcpFarEnd>{new TcpFarEnd{here, listener, either}};
  if (listener < 0 || either < 0) return fail_os(Fault::internal, "no TCP socket could be made", errno);
  const int on = 1;  // else the port stays taken for a minute after the last connection
  setsockopt(listener, SOL_SOCKET, SO_REUSEADDR, &on, sizeof on);
  const auto address = here.socket_address();
  constexpr int waiting = 4;
  if (bind(listener, reinterpret_cast<const sockaddr*>(&address), sizeof address) != 0 ||
      listen(listener, waiting) != 0 || !watch(either, listener)) {
    const int error = errno;
    auto failed = fail_os(error == EADDRNOTAVAIL ? Fault::bad_input : Fault::refused,
                          "tcp " + here.text() + " cannot be listened on", error);
    failed.value().context += error == EADDRINUSE ? "; another program listens there ('ss -tlnp' names it)"
                                                  : "; choose an address of this machine and a port from 1024 to 65535";
    return failed;
  }
  return link;
}

TcpFarEnd::~TcpFarEnd() {
  hang_up();
  if (listener_ >= 0) close(listener_);
  if (either_ >= 0) close(either_);
}

void TcpFarEnd::hang_up() noexcept {
  if (connection_ >= 0) close(std::exchange(connection_, -1));
}

void TcpFarEnd::take_newest() noexcept {
  for (;;) {
    const int fresh = accept4(listener_, nullptr, nullptr, SOCK_CLOEXEC | SOCK_NONBLOCK);
    if (fresh < 0) return;
    hang_up();
    const int on = 1;
    setsockopt(fresh, IPPROTO_TCP, TCP_NODELAY, &on, sizeof on);
    if (watch(either_, fresh))
      connection_ = fresh;
    else
      close(fresh);
  }
}

Received TcpFarEnd::receive(std::span<std::byte> into, BenchTime now) noexcept {
  take_newest();
  if (connection_ >= 0) {
    const auto got = reads_.receive(connection_, into, now, Duration{}, counters_);
    if (got.state != Received::State::lost) return got;
    hang_up();
  }
  reads_.found_empty(now);
  return {};
}

SendResult TcpFarEnd::send(std::span<const std::byte> bytes, BenchTime) noexcept {
  if (connection_ < 0) return {SendState::sent, bytes.size(), 0};
  const auto result = send_stream(connection_, bytes, counters_, [](int s, const void* from, std::size_t size) {
    return ::send(s, from, size, MSG_NOSIGNAL | MSG_DONTWAIT);
  });
  if (result.state != SendState::lost) return result;
  hang_up();
  return {SendState::sent, bytes.size(), 0};
}

}  // namespace trackrod
