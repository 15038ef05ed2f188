#include "drivers/link/udp_link.hpp"

#include <set>

#include "tests/link/wire_help.hpp"

using namespace trackrod;
using namespace std::chrono_literals;

namespace {

std::unique_ptr<UdpLink> link_to(Endpoint peer, std::int64_t buffer = 1 << 20) {
  auto link = UdpLink::open({{loopback, 0}, peer, buffer});
  REQUIRE(link);
  return std::move(*link);
}

std::uint16_t free_port() { return PlainSocket{}.endpoint().port; }

}  // namespace

TEST_CASE("datagrams go both ways, one at a time, with what was in them") {
  const PlainSocket peer;
  const auto link = link_to(peer.endpoint());
  CHECK(link->send(bytes_of("to the device"), now()).state == SendState::sent);
  CHECK(peer.receive() == "to the device");

  peer.send("first", link->local());
  peer.send("second", link->local());
  std::array<std::byte, 1500> buffer{};
  REQUIRE(readable(link->descriptor()));
  for (const std::string expected : {"first", "second"}) {
    const auto got = link->receive(buffer, now());
    REQUIRE(got.state == Received::State::bytes);
    CHECK(text_of(std::span{buffer}.first(got.size)) == expected);
  }
  CHECK(link->receive(buffer, now()).state == Received::State::nothing);
  CHECK(link->counters().received == 2);
  CHECK(link->counters().received_bytes == 11);
  CHECK(link->counters().sent == 1);
  CHECK(link->counters().sent_bytes == 13);
}

TEST_CASE("the stamp says when a datagram came, not when it was read") {
  const PlainSocket peer;
  const auto link = link_to(peer.endpoint());
  const auto before = now();
  peer.send("stamped", link->local());
  REQUIRE(readable(link->descriptor()));
  const auto there = now();
  wait_ms(30);

  Stamp stamp;
  REQUIRE(take(*link, 7, &stamp) == "stamped");
  CHECK(stamp.by == StampedBy::kernel);
  CHECK(stamp.when >= before - stamp.uncertainty);
  CHECK(stamp.when <= there + stamp.uncertainty);
  CHECK(link->counters().stamps_replaced == 0);
}

TEST_CASE("datagrams from another sender are counted and never handed on") {
  const PlainSocket peer, stranger;
  const auto link = link_to(peer.endpoint());
  for (int i = 0; i < 3; ++i) stranger.send("not for you", link->local());
  peer.send("mine", link->local());
  CHECK(take(*link, 4) == "mine");
  CHECK(link->counters().foreign == 3);
  CHECK(link->counters().received == 1);
}

TEST_CASE("what the kernel says it dropped equals the gaps in the sender's own numbers") {
  const PlainSocket peer;
  const auto link = link_to(peer.endpoint(), 4096);
  constexpr int sent = 2000;
  for (int i = 0; i < sent; ++i) peer.send("number " + std::to_string(i), link->local());

  std::array<std::byte, 1500> buffer{};
  std::set<std::string> came;
  const auto drain = [&] {
    for (;;) {
      const auto got = link->receive(buffer, now());
      if (got.state != Received::State::bytes) return;
      came.insert(text_of(std::span{buffer}.first(got.size)));
    }
  };
  REQUIRE(readable(link->descriptor()));
  drain();
  // The count comes with the next datagram that is kept.
  peer.send("the last", link->local());
  REQUIRE(readable(link->descriptor()));
  drain();
  REQUIRE(came.count("the last") == 1);
  CHECK(came.size() < sent);  // else nothing was shown
  CHECK(link->counters().dropped_by_kernel == sent - (came.size() - 1));
}

TEST_CASE("a peer that does not listen yet is counted, and heard as soon as it does") {
  const auto port = free_port();
  const auto link = link_to({loopback, port});
  std::array<std::byte, 1500> buffer{};
  for (int i = 0; i < 5; ++i) CHECK(link->send(bytes_of("anybody there?"), now()).state == SendState::sent);
  CHECK(eventually([&] {
    CHECK(link->receive(buffer, now()).state == Received::State::nothing);
    return link->counters().refused > 0;
  }));
  CHECK(link->counters().send_failures == 0);
  // The report was taken out of the socket: it does not wake the reader for ever.
  CHECK_FALSE(readable(link->descriptor(), 0));

  const PlainSocket peer{port};
  CHECK(link->send(bytes_of("and now?"), now()).state == SendState::sent);
  CHECK(peer.receive() == "and now?");
  peer.send("yes", link->local());
  CHECK(take(*link, 3) == "yes");
}

TEST_CASE("datagrams that are empty or do not fit are counted, not handed on in pieces") {
  const PlainSocket peer;
  const auto link = link_to(peer.endpoint());
  peer.send("", link->local());
  peer.send(std::string(1501, 'x'), link->local());
  peer.send("fits", link->local());
  CHECK(take(*link, 4) == "fits");
  CHECK(link->counters().oversized == 2);
  CHECK(link->counters().received == 1);
}

TEST_CASE("an address that is taken or not this machine's is refused with a sentence that helps") {
  const PlainSocket other;
  const auto taken = UdpLink::open({other.endpoint(), {loopback, 9}});
  REQUIRE_FALSE(taken);
  CHECK(taken.error().fault == Fault::refused);
  CHECK(taken.error().os == std::errc::address_in_use);
  CHECK(taken.error().context.find(other.endpoint().text()) != std::string::npos);
  CHECK(taken.error().context.find("another program listens there") != std::string::npos);

  // 192.0.2.0/24 is kept for documentation (RFC 5737), so no machine has it.
  const auto elsewhere = UdpLink::open({{0xC0000201, 47110}, {loopback, 9}});
  REQUIRE_FALSE(elsewhere);
  CHECK(elsewhere.error().fault == Fault::bad_input);
  CHECK(elsewhere.error().context.find("udp 192.0.2.1:47110") != std::string::npos);
  CHECK(elsewhere.error().context.find("does not have that address") != std::string::npos);
}

TEST_CASE("the receive buffer is read back, and a smaller one is told") {
  const PlainSocket peer;
  const auto link = link_to(peer.endpoint(), 8 << 20);
  int given = 0;
  socklen_t length = sizeof given;
  REQUIRE(getsockopt(link->descriptor(), SOL_SOCKET, SO_RCVBUF, &given, &length) == 0);
  // socket(7): the kernel doubles what is asked for and reports the doubled value.
  if (given >= 2 * (8 << 20))
    CHECK(link->remark().empty());
  else
    CHECK(link->remark().find("net.core.rmem_max") != std::string::npos);
}

TEST_CASE("who takes a socket over hears what comes from then on, not what waited in it") {
  const PlainSocket peer;
  const auto opened = link_to(peer.endpoint());
  peer.send("from before", opened->local());
  REQUIRE(readable(opened->descriptor()));
  const auto adopted = UdpLink::adopt({opened->local(), peer.endpoint()}, dup(opened->descriptor()));
  CHECK(adopted->counters().received == 0);
  peer.send("from now", opened->local());
  Stamp stamp;
  CHECK(take(*adopted, 8, &stamp) == "from now");
  CHECK(stamp.by == StampedBy::kernel);
  CHECK(adopted->send(bytes_of("still the same port"), now()).state == SendState::sent);
  CHECK(peer.receive() == "still the same port");
}

TEST_CASE("the far end of a UDP link is the socket at the peer's address") {
  const UdpSettings settings{{loopback, free_port()}, {loopback, free_port()}};
  auto far = link_kind("udp").open_far_end(settings);
  auto bench = link_kind("udp").open(settings);
  REQUIRE(far);
  REQUIRE(bench);
  CHECK((*bench)->send(bytes_of("setpoint"), now()).state == SendState::sent);
  CHECK(take(**far, 8) == "setpoint");
  CHECK((*far)->send(bytes_of("reading"), now()).state == SendState::sent);
  CHECK(take(**bench, 7) == "reading");
  CHECK((*bench)->describe() == "udp " + settings.local.text() + " <- " + settings.peer.text());
}
