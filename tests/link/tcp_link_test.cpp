#include "drivers/link/tcp_link.hpp"

#include <netinet/tcp.h>

#include "tests/link/wire_help.hpp"

using namespace trackrod;
using namespace std::chrono_literals;

namespace {

// A listening socket and the connections it takes, by plain system calls.
class Server {
 public:
  explicit Server(int waiting = 4) : fd{socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0)} {
    const auto here = Endpoint{loopback, 0}.socket_address();
    REQUIRE(bind(fd, reinterpret_cast<const sockaddr*>(&here), sizeof here) == 0);
    REQUIRE(listen(fd, waiting) == 0);
  }
  ~Server() {
    hang_up();
    close(fd);
  }
  Server(const Server&) = delete;
  Server& operator=(const Server&) = delete;

  Endpoint endpoint() const {
    sockaddr_in here{};
    socklen_t length = sizeof here;
    getsockname(fd, reinterpret_cast<sockaddr*>(&here), &length);
    return Endpoint::of(here);
  }
  void take_one() {
    REQUIRE(readable(fd));
    connection = accept(fd, nullptr, nullptr);
    REQUIRE(connection >= 0);
  }
  void hang_up() {
    if (connection >= 0) close(connection);
    connection = -1;
  }
  void write(const std::string& text) const {
    REQUIRE(::write(connection, text.data(), text.size()) == static_cast<ssize_t>(text.size()));
  }
  std::string read(std::size_t size) const {
    std::string all;
    std::array<char, 4096> part{};
    while (all.size() < size && readable(connection)) {
      const auto n = ::read(connection, part.data(), std::min(part.size(), size - all.size()));
      if (n <= 0) break;
      all.append(part.data(), static_cast<std::size_t>(n));
    }
    return all;
  }

  int fd, connection{-1};
};

std::unique_ptr<TcpLink> connect_to(Server& server) {
  auto link = TcpLink::open({server.endpoint()});
  INFO((link ? "" : link.error().context));
  REQUIRE(link);
  server.take_one();
  return std::move(*link);
}

Error refusal(const TcpSettings& settings) {
  auto link = TcpLink::open(settings);
  REQUIRE_FALSE(link);
  CHECK(link.error().context.find("tcp " + settings.peer.text()) == 0);
  return link.error();
}

}  // namespace

TEST_CASE("bytes go both ways over a connection, at once and unchanged") {
  Server server;
  const auto link = connect_to(server);
  std::string all;
  for (int i = 0; i < 256; ++i) all += static_cast<char>(i);
  CHECK(link->send(bytes_of(all), now()).state == SendState::sent);
  CHECK(server.read(256) == all);
  server.write(all);
  CHECK(take(*link, 256) == all);
  CHECK(link->counters().received_bytes == 256);
  CHECK(link->counters().sent == 1);
  CHECK(link->describe() == "tcp -> " + server.endpoint().text());
  int at_once = 0;
  socklen_t length = sizeof at_once;
  REQUIRE(getsockopt(link->descriptor(), IPPROTO_TCP, TCP_NODELAY, &at_once, &length) == 0);
  CHECK(at_once == 1);
}

TEST_CASE("another program's line server answers over TCP") {
  const auto port = Server{}.endpoint().port;  // free again
  const Program peer{
      {"socat", "TCP-LISTEN:" + std::to_string(port) + ",bind=127.0.0.1,reuseaddr", "EXEC:sed -u s/left/right/"}};
  std::unique_ptr<TcpLink> link;
  REQUIRE(eventually([&] {
    auto opened = TcpLink::open({{loopback, port}});
    if (opened) link = std::move(*opened);
    return link != nullptr;
  }));
  for (const std::string line : {"turn left\n", "left again\n"})
    CHECK(link->send(bytes_of(line), now()).state == SendState::sent);
  CHECK(take(*link, 23) == "turn right\nright again\n");
}

TEST_CASE("the stamp is the read's, and covers the time since the connection was last found empty") {
  Server server;
  const auto link = connect_to(server);
  std::array<std::byte, 1500> buffer{};
  REQUIRE(link->receive(buffer, now()).state == Received::State::nothing);
  const auto before = now();
  server.write("late");
  const auto written = now();
  REQUIRE(readable(link->descriptor()));
  wait_ms(20);
  const auto got = link->receive(buffer, now());
  REQUIRE(got.state == Received::State::bytes);
  CHECK(got.stamp.by == StampedBy::harness);
  CHECK(got.stamp.when >= written);
  CHECK(got.stamp.when - got.stamp.uncertainty <= before);
}

TEST_CASE("a device that hangs up is lost, and one that is only silent is not") {
  Server server;
  const auto link = connect_to(server);
  std::array<std::byte, 1500> buffer{};
  for (int i = 0; i < 100; ++i) REQUIRE(link->receive(buffer, now()).state == Received::State::nothing);
  server.write("bye");
  server.hang_up();
  CHECK(take(*link, 3) == "bye");  // what it said before is not lost with it
  REQUIRE(eventually([&] { return link->receive(buffer, now()).state == Received::State::lost; }));
  const auto again = link->receive(buffer, now());
  CHECK(again.state == Received::State::lost);
  CHECK(again.error == 0);
  // The other machine says at the first message that nobody is there; the next one fails here.
  REQUIRE(eventually([&] { return link->send(bytes_of("hello?"), now()).state == SendState::lost; }));
  CHECK(link->counters().send_failures == 1);
}

TEST_CASE("a connection that is reset is lost, with the system's reason") {
  Server server;
  const auto link = connect_to(server);
  const linger at_once{1, 0};  // close() then resets (RFC 9293, abort)
  REQUIRE(setsockopt(server.connection, SOL_SOCKET, SO_LINGER, &at_once, sizeof at_once) == 0);
  server.hang_up();
  std::array<std::byte, 1500> buffer{};
  REQUIRE(readable(link->descriptor()));
  const auto got = link->receive(buffer, now());
  CHECK(got.state == Received::State::lost);
  CHECK(got.error == ECONNRESET);
}

TEST_CASE("a device that takes nothing fills the connection, and the rest can follow without a byte lost or doubled") {
  Server server;
  const auto link = connect_to(server);
  std::string all;
  for (int i = 0; all.size() < 20'000'000; ++i) all += std::to_string(i) + ",";
  std::size_t sent = 0;
  std::string came;
  int blocked = 0;
  while (came.size() < all.size()) {
    const auto result = link->send(bytes_of(all).subspan(sent), now());
    REQUIRE(result.state != SendState::lost);
    if (result.state == SendState::would_block) ++blocked;
    sent += result.taken;
    const auto part = server.read(std::min<std::size_t>(sent - came.size(), 1'000'000));
    REQUIRE_FALSE(part.empty());
    came += part;
  }
  CHECK(blocked > 0);
  CHECK(came == all);
  CHECK(link->counters().sent_bytes == all.size());
}

TEST_CASE("a device that does not listen or does not answer is told in a sentence that says what to try") {
  const auto nobody = Server{}.endpoint();
  const auto refused = refusal({nobody});
  CHECK(refused.fault == Fault::refused);
  CHECK(refused.os == std::errc::connection_refused);
  CHECK(refused.context.find("remote control") != std::string::npos);

  // A server whose queue is full answers no more (Linux; listen(2)).
  const Server busy{0};
  std::vector<std::unique_ptr<Link>> queued;
  const auto before = now();
  for (int i = 0; i < 8; ++i) {
    auto link = TcpLink::open({busy.endpoint(), 100ms});
    if (link) {
      queued.push_back(std::move(*link));
      continue;
    }
    CHECK(link.error().fault == Fault::link_lost);
    CHECK(link.error().os == std::errc::timed_out);
    CHECK(link.error().context.find("no answer within 100 ms") != std::string::npos);
    break;
  }
  CHECK(queued.size() < 8);
  CHECK(now() - before >= 100ms);
}

TEST_CASE(
    "who takes a connection over talks on the same one, hears only what comes from then on, and does not end it") {
  Server server;
  const auto opened = connect_to(server);
  server.write("from before");
  REQUIRE(readable(opened->descriptor()));
  {
    const auto adopted = TcpLink::adopt({server.endpoint()}, dup(opened->descriptor()));
    CHECK(adopted->counters().received == 0);
    server.write("from now");
    CHECK(take(*adopted, 8) == "from now");
    CHECK(adopted->send(bytes_of("same line"), now()).state == SendState::sent);
    CHECK(server.read(9) == "same line");
  }
  CHECK(opened->send(bytes_of("still there"), now()).state == SendState::sent);
  CHECK(server.read(11) == "still there");
}

TEST_CASE("the far end of a TCP link waits for whoever connects, one after the other") {
  const TcpSettings settings{Server{}.endpoint()};
  auto far = link_kind("tcp").open_far_end(settings);
  REQUIRE(far);
  std::array<std::byte, 1500> buffer{};
  CHECK((*far)->receive(buffer, now()).state == Received::State::nothing);
  CHECK((*far)->send(bytes_of("for nobody"), now()).state == SendState::sent);
  for (const std::string name : {"first", "second"}) {
    auto bench = link_kind("tcp").open(settings);
    REQUIRE(bench);
    CHECK((*bench)->send(bytes_of(name), now()).state == SendState::sent);
    CHECK(take(**far, name.size()) == name);
    CHECK((*far)->send(bytes_of("reading"), now()).state == SendState::sent);
    CHECK(take(**bench, 7) == "reading");
  }
  REQUIRE(readable((*far)->descriptor()));
  CHECK((*far)->receive(buffer, now()).state == Received::State::nothing);  // the second left: idle again
  CHECK_FALSE(readable((*far)->descriptor(), 0));

  // One who is still connected, but silent, does not keep the next one out.
  auto left_behind = link_kind("tcp").open(settings);
  auto next = link_kind("tcp").open(settings);
  REQUIRE(left_behind);
  REQUIRE(next);
  CHECK((*next)->send(bytes_of("mine now"), now()).state == SendState::sent);
  CHECK(take(**far, 8) == "mine now");
  CHECK(take(**left_behind, 1) == "(lost)");

  const auto twice = link_kind("tcp").open_far_end(settings);
  REQUIRE_FALSE(twice);
  CHECK(twice.error().context.find("another program listens there") != std::string::npos);
}
