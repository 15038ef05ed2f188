// What the harness puts between a datagram and its answer: (stamp of the kernel -> sample in the ring) and (start of
// the tick -> send returned). The wait for the tick between them is a matter of the rate and is printed apart.

#include <arpa/inet.h>
#include <sched.h>
#include <sys/socket.h>
#include <unistd.h>

#include <atomic>
#include <cstdio>
#include <cstring>
#include <random>
#include <stdexcept>
#include <thread>

#include "drivers/link/clock_pair.hpp"
#include "drivers/link/reader.hpp"
#include "drivers/link/udp_link.hpp"
#include "harness/engine/realtime.hpp"
#include "tests/performance/figures.hpp"
#include "tests/performance/run_block.hpp"

namespace trackrod::performance {
namespace {

constexpr std::size_t datagram_size = 24;  // as the status of the demo's hand wheel

struct Times {
  std::vector<double> in, out;  // us: stamp of the kernel -> there for the taker; from there -> send returned

  void add(const Times& more) {
    in.insert(in.end(), more.in.begin(), more.in.end());
    out.insert(out.end(), more.out.begin(), more.out.end());
  }
};

// Sender and receiver on a core of their own each, or the one would wait until the other sleeps. Threads inherit it.
class Core {
 public:
  explicit Core(int number) {
    sched_getaffinity(0, sizeof before_, &before_);
    cpu_set_t one;
    CPU_ZERO(&one);
    CPU_SET(number, &one);
    sched_setaffinity(0, sizeof one, &one);
  }
  Core(const Core&) = delete;
  Core& operator=(const Core&) = delete;
  ~Core() { sched_setaffinity(0, sizeof before_, &before_); }

 private:
  cpu_set_t before_{};
};
constexpr int sending_core = 0, receiving_core = 1;

double us(Duration d) { return seconds(d) * 1e6; }

class Socket {
 public:
  Socket() : fd_{socket(AF_INET, SOCK_DGRAM | SOCK_CLOEXEC, 0)} {
    address_.sin_family = AF_INET;
    address_.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    socklen_t size = sizeof address_;
    if (bind(fd_, reinterpret_cast<sockaddr*>(&address_), size) != 0 ||
        getsockname(fd_, reinterpret_cast<sockaddr*>(&address_), &size) != 0)
      throw std::runtime_error{"no socket on the loopback"};
  }
  Socket(const Socket&) = delete;
  Socket& operator=(const Socket&) = delete;
  ~Socket() { close(fd_); }
  int fd() const { return fd_; }
  const sockaddr_in& address() const { return address_; }
  void send(const sockaddr_in& to) const {
    char bytes[datagram_size] = {};
    sendto(fd_, bytes, sizeof bytes, 0, reinterpret_cast<const sockaddr*>(&to), sizeof to);
  }
  bool empty_one() const {
    char bytes[64];
    return recv(fd_, bytes, sizeof bytes, MSG_DONTWAIT) >= 0;
  }

 private:
  int fd_;
  sockaddr_in address_{};
};

// Sends, then looks without pause whether the answer is there, so that the core which sends neither sleeps nor is the
// one that receives.
template <class Answered>
void exchange(int echoes, const Socket& from, const sockaddr_in& to, Answered&& answered) {
  const SteadyTime time;
  for (int i = 0; i < echoes; ++i) {
    from.send(to);
    for (const auto end = time.now() + std::chrono::milliseconds{100}; !answered() && time.now() < end;) {
    }
    std::this_thread::sleep_for(std::chrono::microseconds{300});
  }
}

// Blocks in recvmsg, looks at the clock, answers, looks again: what the machine itself needs.
void answer_bare(const Socket& here, const sockaddr_in& peer, const std::atomic<bool>& ending, Times& times) {
  become_realtime(loop_priority - 1);
  const int on = 1;
  setsockopt(here.fd(), SOL_SOCKET, SO_TIMESTAMPNS, &on, sizeof on);
  const timeval patience{0, 50'000};
  setsockopt(here.fd(), SOL_SOCKET, SO_RCVTIMEO, &patience, sizeof patience);
  const SteadyTime time;
  while (!ending) {
    char bytes[64];
    alignas(cmsghdr) char control[64];
    iovec data{bytes, sizeof bytes};
    msghdr message{};
    message.msg_iov = &data;
    message.msg_iovlen = 1;
    message.msg_control = control;
    message.msg_controllen = sizeof control;
    if (recvmsg(here.fd(), &message, 0) <= 0) continue;
    const auto there = read_clock_pair();
    here.send(peer);
    const auto sent = time.now();
    const auto* stamp = CMSG_FIRSTHDR(&message);
    if (stamp == nullptr || stamp->cmsg_type != SCM_TIMESTAMPNS) continue;
    timespec wall{};
    std::memcpy(&wall, CMSG_DATA(stamp), sizeof wall);
    times.in.push_back(us(there.wall - std::chrono::seconds{wall.tv_sec} - Duration{wall.tv_nsec}));
    times.out.push_back(us(sent - there.bench));
  }
  leave_realtime();
}

Times bare_echo(int echoes) {
  const Socket peer, echo;
  Times times;
  std::atomic<bool> ending{false};
  std::thread server{[&] {
    const Core core{receiving_core};
    answer_bare(echo, peer.address(), ending, times);
  }};
  const Core core{sending_core};
  exchange(echoes, peer, echo.address(), [&] { return peer.empty_one(); });
  ending = true;
  server.join();
  return times;
}

// Through our link, reader thread and ring. The taker is the sending thread, which looks without pause: what it sees is
// when the ring had it, not when a sleeper awoke.
Times through_reader(int echoes) {
  const Socket peer;
  auto link = UdpLink::open({{INADDR_LOOPBACK, 0}, Endpoint::of(peer.address())});
  if (!link) throw std::runtime_error{link.error().context};
  sockaddr_in ours{};
  socklen_t size = sizeof ours;
  getsockname((*link)->descriptor(), reinterpret_cast<sockaddr*>(&ours), &size);
  Reader reader{std::vector<Link*>{link->get()}};
  const auto started = [&] {
    const Core core{receiving_core};
    return reader.start(loop_priority - 1);
  }();
  if (!started) throw std::runtime_error{started.error().context};
  const Core core{sending_core};
  Times times;
  const SteadyTime time;
  exchange(echoes, peer, ours, [&] {
    bool any = false;
    reader.consume([&](const Arrival& a) {
      const auto there = time.now();
      if (a.lost() || a.stamp.by != StampedBy::kernel) return;
      (*link)->send(a.data(), there);
      times.out.push_back(us(time.now() - there));
      times.in.push_back(us(there - a.stamp.when));
      any = true;
    });
    while (peer.empty_one()) {
    }
    return any;
  });
  reader.stop();
  return times;
}

// Sums of one of each, drawn at random: what the two make together.
std::vector<double> together(const std::vector<double>& a, const std::vector<double>& b) {
  std::mt19937 random{1};
  std::vector<double> sums;
  if (a.empty() || b.empty()) return sums;
  for (int i = 0; i < 100'000; ++i) sums.push_back(a[random() % a.size()] + b[random() % b.size()]);
  return sums;
}

std::vector<double> print(const char* what, std::vector<double> values) {
  std::sort(values.begin(), values.end());
  std::printf("  %-58s p50 %6.1f p99 %6.1f us (of %zu)\n", what, percentile(values, 50), percentile(values, 99),
              values.size());
  return values;
}

}  // namespace

void added_time(const Wish& wish) {
  std::printf("added time, datagram in to datagram out\n");
  if (std::thread::hardware_concurrency() < 2) return void(std::printf("  not measurable: it takes two cores\n"));
  constexpr int turns = 10;
  Times bare, ours;
  for (int i = 0; i < turns; ++i) {
    bare.add(bare_echo(wish.echoes / turns));
    ours.add(through_reader(wish.echoes / turns));
  }
  const auto run = run_block(1000, wish.block_seconds);
  const auto bare_in = print("bare: stamp of the kernel -> recvmsg returned", bare.in);
  const auto our_in = print("ours: stamp of the kernel -> in the ring", ours.in);
  const auto bare_out = print("bare: -> sendto returned", bare.out);
  print("ours: one datagram of the link -> send returned", ours.out);
  const auto our_out = print("ours: start of the tick -> all devices sent (demo bench)", run.work);
  const auto bare_all = print("bare, together", together(bare_in, bare_out));
  const auto our_all = print("ours, together", together(our_in, our_out));
  std::printf(
      "  added beside the bare echo: p50 %.1f p99 %.1f us; the wait for the tick, apart: p50 500, at most 1000 us\n",
      percentile(our_all, 50) - percentile(bare_all, 50), percentile(our_all, 99) - percentile(bare_all, 99));
}

}  // namespace trackrod::performance
