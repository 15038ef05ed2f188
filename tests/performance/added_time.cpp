#include <arpa/inet.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <cstdio>
#include <ctime>
#include <thread>

#include "drivers/link/reader.hpp"
#include "drivers/link/udp_link.hpp"
#include "harness/engine/realtime.hpp"
#include "tests/performance/figures.hpp"

namespace trackrod::performance {
namespace {

constexpr int rounds = 5000;

int bound_socket(sockaddr_in& address) {
  const int s = socket(AF_INET, SOCK_DGRAM | SOCK_CLOEXEC, 0);
  address = {};
  address.sin_family = AF_INET;
  address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  socklen_t size = sizeof address;
  if (bind(s, reinterpret_cast<sockaddr*>(&address), sizeof address) != 0 ||
      getsockname(s, reinterpret_cast<sockaddr*>(&address), &size) != 0)
    std::perror("performance: socket");
  return s;
}

// Sends a datagram and waits for the answer, `rounds` times; the round trips in microseconds, sorted.
std::vector<double> round_trips(int from, const sockaddr_in& to) {
  std::vector<double> trips;
  char bytes[64] = {};
  const SteadyTime time;
  for (int i = 0; i < rounds; ++i) {
    const auto start = time.now();
    sendto(from, bytes, sizeof bytes, 0, reinterpret_cast<const sockaddr*>(&to), sizeof to);
    pollfd p{from, POLLIN, 0};
    if (poll(&p, 1, 100) == 1 && recv(from, bytes, sizeof bytes, 0) > 0)
      trips.push_back(seconds(time.now() - start) * 1e6);
    std::this_thread::sleep_for(std::chrono::microseconds{200});
  }
  std::sort(trips.begin(), trips.end());
  return trips;
}

// Blocks in recv, answers at once: what the machine itself needs.
std::vector<double> bare_echo() {
  sockaddr_in peer{}, echo{};
  const int here = bound_socket(peer), there = bound_socket(echo);
  std::atomic<bool> ending{false};
  std::thread server{[&] {
    become_realtime(loop_priority - 1);
    char bytes[64];
    while (!ending) {
      pollfd p{there, POLLIN, 0};
      if (poll(&p, 1, 50) == 1 && recv(there, bytes, sizeof bytes, 0) > 0)
        sendto(there, bytes, sizeof bytes, 0, reinterpret_cast<const sockaddr*>(&peer), sizeof peer);
    }
  }};
  auto trips = round_trips(here, echo);
  ending = true;
  server.join();
  close(here);
  close(there);
  return trips;
}

// The same through our link, reader thread and ring; the taker sleeps between looks as the loop does between ticks, but
// looks so often that the wait for the tick does not count.
std::vector<double> through_reader() {
  sockaddr_in peer{}, local{};
  const int here = bound_socket(peer);
  close(bound_socket(local));  // a port that is free
  UdpSettings settings;
  settings.local = Endpoint::of(local);
  settings.peer = Endpoint::of(peer);
  auto link = UdpLink::open(settings);
  if (!link) {
    std::printf("added time: %s\n", link.error().context.c_str());
    return {};
  }
  Reader reader{std::vector<Link*>{link->get()}};
  (void)reader.start(loop_priority - 1);
  std::atomic<bool> ending{false};
  std::thread server{[&] {
    const SteadyTime time;
    while (!ending) {
      reader.consume([&](const Arrival& a) {
        if (!a.lost()) (*link)->send(a.data(), time.now());
      });
      std::this_thread::yield();
    }
  }};
  auto trips = round_trips(here, local);
  ending = true;
  server.join();
  reader.stop();
  close(here);
  return trips;
}

}  // namespace

void added_time() {
  const auto bare = bare_echo(), ours = through_reader();
  std::printf(
      "datagram in to datagram out, round trip in us: bare echo p50 %.1f p99 %.1f; through link, reader and ring p50 "
      "%.1f "
      "p99 %.1f; added p50 %.1f p99 %.1f (of %zu and %zu)\n",
      percentile(bare, 50), percentile(bare, 99), percentile(ours, 50), percentile(ours, 99),
      percentile(ours, 50) - percentile(bare, 50), percentile(ours, 99) - percentile(bare, 99), bare.size(),
      ours.size());
  std::printf(
      "  to which the loop adds its own work in a tick (printed below) and the wait for the tick, half of it on "
      "average\n");
}

}  // namespace trackrod::performance
