// Groups, broadcasts and batches.

#include <netinet/in.h>

#include "drivers/link/udp_link.hpp"
#include "tests/link/wire_help.hpp"

using namespace trackrod;
using namespace std::chrono_literals;

namespace {

// 239.0.0.0/8 is kept for the use of one site (RFC 2365).
constexpr std::uint32_t group = 0xEF114711, other_group = 0xEF114712;
// Of the loopback network 127.0.0.0/8: all host bits set (RFC 919).
constexpr std::uint32_t loopback_broadcast = 0x7FFFFFFF;

std::uint16_t free_port() { return PlainSocket{}.endpoint().port; }

std::unique_ptr<UdpLink> open_link(const UdpSettings& settings) {
  auto link = UdpLink::open(settings);
  INFO((link ? "" : link.error().context));
  REQUIRE(link);
  return std::move(*link);
}

UdpSettings to_peer(Endpoint peer) {
  UdpSettings s;
  s.local = {loopback, 0};
  s.peer = peer;
  return s;
}

template <class T>
T option(int fd, int level, int name) {
  T value{};
  socklen_t length = sizeof value;
  REQUIRE(getsockopt(fd, level, name, &value, &length) == 0);
  return value;
}

// A plain socket that joins a group on the loopback interface and sends to it there.
void join(const PlainSocket& socket, std::uint32_t to) {
  ip_mreqn card{};
  card.imr_multiaddr.s_addr = htonl(to);
  card.imr_address.s_addr = htonl(loopback);
  REQUIRE(setsockopt(socket.fd, IPPROTO_IP, IP_ADD_MEMBERSHIP, &card, sizeof card) == 0);
}
void send_by_loopback(const PlainSocket& socket) {
  ip_mreqn card{};
  card.imr_address.s_addr = htonl(loopback);
  const int on = 1;
  REQUIRE(setsockopt(socket.fd, IPPROTO_IP, IP_MULTICAST_IF, &card, sizeof card) == 0);
  REQUIRE(setsockopt(socket.fd, SOL_SOCKET, SO_BROADCAST, &on, sizeof on) == 0);
}

// What a socket that is bound to one address (a group's or the broadcast one) hears.
class Listener {
 public:
  explicit Listener(std::uint32_t address) : fd_{socket(AF_INET, SOCK_DGRAM, 0)} {
    const auto here = Endpoint{address, 0}.socket_address();
    REQUIRE(bind(fd_, reinterpret_cast<const sockaddr*>(&here), sizeof here) == 0);
    sockaddr_in bound{};
    socklen_t length = sizeof bound;
    getsockname(fd_, reinterpret_cast<sockaddr*>(&bound), &length);
    endpoint = Endpoint::of(bound);
    if (!is_group(address)) return;
    ip_mreqn card{};
    card.imr_multiaddr.s_addr = htonl(address);
    card.imr_address.s_addr = htonl(loopback);
    REQUIRE(setsockopt(fd_, IPPROTO_IP, IP_ADD_MEMBERSHIP, &card, sizeof card) == 0);
  }
  ~Listener() { close(fd_); }
  Listener(const Listener&) = delete;
  Listener& operator=(const Listener&) = delete;

  // The text, and who sent it.
  std::pair<std::string, Endpoint> receive() const {
    std::array<char, 2000> buffer{};
    sockaddr_in from{};
    socklen_t length = sizeof from;
    if (!readable(fd_)) return {"(nothing came)", {}};
    const auto n = recvfrom(fd_, buffer.data(), buffer.size(), 0, reinterpret_cast<sockaddr*>(&from), &length);
    return {std::string{buffer.data(), static_cast<std::size_t>(n)}, Endpoint::of(from)};
  }

  Endpoint endpoint;

 private:
  int fd_;
};

}  // namespace

TEST_CASE("a link hears its device through a group that it joined, and directly, and no other sender or group") {
  const PlainSocket device, stranger;
  send_by_loopback(device);
  send_by_loopback(stranger);
  auto settings = to_peer(device.endpoint());
  settings.group = group;
  const auto link = open_link(settings);
  const auto port = link->local().port;
  const PlainSocket neighbour;  // another program on this machine that joined another group
  join(neighbour, other_group);

  stranger.send("not for you", {group, port});
  device.send("to others", {other_group, port});
  device.send("to the group", {group, port});
  device.send("to you", {loopback, port});
  CHECK(take(*link, 18) == "to the groupto you");
  CHECK(link->counters().foreign == 1);  // the other group's never came here
  CHECK(link->counters().received == 2);

  CHECK(link->send(bytes_of("answer"), now()).state == SendState::sent);
  CHECK(device.receive() == "answer");
}

TEST_CASE("messages to a group go by the card of the local address, stay in the network, and come from that address") {
  const Listener device{group};
  auto settings = to_peer(device.endpoint);
  settings.from = Endpoint{loopback, 9};
  const auto link = open_link(settings);
  CHECK(option<int>(link->descriptor(), IPPROTO_IP, IP_MULTICAST_TTL) == 1);
  CHECK(option<int>(link->descriptor(), IPPROTO_IP, IP_MULTICAST_LOOP) == 0);
  CHECK(link->send(bytes_of("all of you"), now()).state == SendState::sent);
  const auto [text, from] = device.receive();
  CHECK(text == "all of you");
  CHECK(from == link->local());

  settings.hops = 4;
  settings.loop = true;
  const auto further = open_link(settings);
  CHECK(option<int>(further->descriptor(), IPPROTO_IP, IP_MULTICAST_TTL) == 4);
  CHECK(option<int>(further->descriptor(), IPPROTO_IP, IP_MULTICAST_LOOP) == 1);
}

TEST_CASE("where the peer is a group, only the device named by 'from' is listened to") {
  const PlainSocket device, stranger;
  const Listener members{group};
  auto settings = to_peer(members.endpoint);
  settings.from = device.endpoint();
  const auto link = open_link(settings);
  stranger.send("me too", link->local());
  device.send("it is me", link->local());
  CHECK(take(*link, 8) == "it is me");
  CHECK(link->counters().foreign == 1);
  CHECK(link->describe() ==
        "udp " + link->local().text() + " <- " + device.endpoint().text() + ", -> " + members.endpoint.text());
}

TEST_CASE("broadcasts are sent and heard where the bench says so, and else refused with a sentence that helps") {
  const Listener network{loopback_broadcast};
  const PlainSocket device;
  send_by_loopback(device);
  auto settings = to_peer(network.endpoint);
  settings.from = device.endpoint();

  const auto not_asked_for = UdpLink::open(settings);
  REQUIRE_FALSE(not_asked_for);
  CHECK(not_asked_for.error().fault == Fault::bad_input);
  CHECK(not_asked_for.error().context.find("\"broadcast\": true") != std::string::npos);

  settings.broadcast = true;
  const auto link = open_link(settings);
  CHECK(link->send(bytes_of("everybody"), now()).state == SendState::sent);
  const auto [text, from] = network.receive();
  CHECK(text == "everybody");
  CHECK(from == link->local());
  device.send("to all", {loopback_broadcast, link->local().port});
  CHECK(take(*link, 6) == "to all");
}

TEST_CASE("a link that hears one machine only is not bound to broadcasts") {
  const PlainSocket device;
  send_by_loopback(device);
  const auto link = open_link(to_peer(device.endpoint()));
  device.send("to all", {loopback_broadcast, link->local().port});
  device.send("to you", link->local());
  CHECK(take(*link, 6) == "to you");
}

TEST_CASE("a group on a card that this machine does not have is refused") {
  auto settings = to_peer({loopback, 9});
  settings.local = {0xC0000201, 47110};  // 192.0.2.0/24 is kept for documentation (RFC 5737)
  settings.group = group;
  const auto link = UdpLink::open(settings);
  REQUIRE_FALSE(link);
  CHECK(link.error().fault == Fault::bad_input);
  CHECK(link.error().context.find("does not have that address") != std::string::npos);
}

TEST_CASE("more datagrams than a batch holds come in order, each whole and with its own stamp") {
  const PlainSocket peer;
  const auto link = open_link(to_peer(peer.endpoint()));
  constexpr int sent = 5 * UdpBatch::room + 3;
  const auto before = now();
  for (int i = 0; i < sent; ++i) {
    peer.send("number " + std::to_string(i), link->local());
    if (i == 20) wait_ms(5);
  }
  std::array<std::byte, 1500> buffer{};
  std::vector<BenchTime> stamps;
  for (int i = 0; i < sent;) {
    const auto got = link->receive(buffer, now());
    if (got.state == Received::State::nothing) {
      REQUIRE(readable(link->descriptor()));
      continue;
    }
    REQUIRE(got.state == Received::State::bytes);
    CHECK(text_of(std::span{buffer}.first(got.size)) == "number " + std::to_string(i++));
    CHECK(got.stamp.by == StampedBy::kernel);
    stamps.push_back(got.stamp.when);
  }
  CHECK(std::is_sorted(stamps.begin(), stamps.end()));
  CHECK(stamps.front() >= before - 1ms);
  CHECK(stamps[21] - stamps[20] >= 4ms);  // though read together
  CHECK(link->receive(buffer, now()).state == Received::State::nothing);
}

TEST_CASE("strangers between the datagrams of a batch hide none of them") {
  const PlainSocket peer, stranger;
  const auto link = open_link(to_peer(peer.endpoint()));
  for (int i = 0; i < 200; ++i) {
    stranger.send("noise", link->local());
    if (i % 10 == 0) peer.send(std::to_string(i / 10 % 10), link->local());
  }
  CHECK(take(*link, 20) == "01234567890123456789");
  std::array<std::byte, 1500> buffer{};
  while (link->counters().foreign < 200) REQUIRE(link->receive(buffer, now()).state == Received::State::nothing);
  CHECK(link->counters().received == 20);
}

TEST_CASE("the far end of a link to a group hears what is sent to the group, and answers as the device") {
  UdpSettings settings;
  settings.local = {loopback, free_port()};
  settings.peer = {group, free_port()};
  settings.from = Endpoint{loopback, settings.peer.port};
  settings.group = other_group;
  auto far = link_kind("udp").open_far_end(settings);
  INFO((far ? "" : far.error().context));
  REQUIRE(far);
  auto bench = link_kind("udp").open(settings);
  REQUIRE(bench);
  CHECK((*bench)->send(bytes_of("setpoint"), now()).state == SendState::sent);
  CHECK(take(**far, 8) == "setpoint");
  CHECK((*far)->send(bytes_of("reading"), now()).state == SendState::sent);
  CHECK(take(**bench, 7) == "reading");

  settings.from = Endpoint{loopback, 9};
  const auto elsewhere = link_kind("udp").open_far_end(settings);
  REQUIRE_FALSE(elsewhere);
  CHECK(elsewhere.error().fault == Fault::bad_input);
}
