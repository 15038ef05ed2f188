#include "drivers/link/reader.hpp"

#include <atomic>
#include <fstream>
#include <sstream>

#include "drivers/link/memory_link.hpp"
#include "drivers/link/pty_link.hpp"
#include "drivers/link/serial_link.hpp"
#include "drivers/link/udp_link.hpp"
#include "tests/link/allocations.hpp"
#include "tests/link/wire_help.hpp"

using namespace trackrod;
using namespace std::chrono_literals;

namespace {

struct Seen {
  std::uint16_t link;
  std::string text;
  int error;
};

std::vector<Seen> taken(Reader& reader) {
  std::vector<Seen> all;
  reader.consume([&](const Arrival& a) { all.push_back({a.link, text_of(a.data()), a.error}); });
  return all;
}

std::vector<Seen> wait_for(Reader& reader, std::size_t count) {
  std::vector<Seen> all;
  eventually([&] {
    for (auto& s : taken(reader)) all.push_back(std::move(s));
    return all.size() >= count;
  });
  return all;
}

std::unique_ptr<SerialLink> serial_on(const PlainPty& pty) {
  SerialSettings settings;
  settings.path = pty.path;
  settings.settle = 1ms;
  auto link = SerialLink::open(settings);
  REQUIRE(link);
  return std::move(*link);
}

std::unique_ptr<UdpLink> udp_to(const PlainSocket& peer) {
  auto link = UdpLink::open({{loopback, 0}, peer.endpoint()});
  REQUIRE(link);
  return std::move(*link);
}

// The scheduling policy of this process' thread of that name, as the kernel tells it (proc(5), field 41); -1: no such.
int policy_of_thread(const std::string& name) {
  for (const auto& task : std::filesystem::directory_iterator{"/proc/self/task"}) {
    std::ifstream file{task.path() / "stat"};
    std::string line;
    std::getline(file, line);
    if (line.find("(" + name + ")") == std::string::npos) continue;
    std::istringstream rest{line.substr(line.rfind(')') + 1)};
    std::string field;
    for (int i = 3; i <= 41; ++i) rest >> field;
    return std::stoi(field);
  }
  return -1;
}

}  // namespace

TEST_CASE("the reader hands over what came on each link, in order, by the link's position") {
  const PlainSocket peer;
  const PlainPty pty;
  const auto udp = udp_to(peer);
  const auto serial = serial_on(pty);
  Reader reader{{udp.get(), serial.get()}};
  REQUIRE(reader.start(0));
  for (int i = 0; i < 100; ++i) peer.send("datagram " + std::to_string(i), udp->local());
  pty.write("line\n");
  const auto all = wait_for(reader, 101);
  int next = 0;
  std::string line;
  for (const auto& s : all) {
    if (s.link == 0) CHECK(s.text == "datagram " + std::to_string(next++));
    if (s.link == 1) line += s.text;
  }
  CHECK(next == 100);
  CHECK(line == "line\n");
  CHECK(reader.dropped() == 0);
}

TEST_CASE("a link that hangs up is told once, the others go on") {
  const PlainSocket peer;
  PlainPty pty;
  const auto udp = udp_to(peer);
  const auto serial = serial_on(pty);
  Reader reader{{serial.get(), udp.get()}};
  REQUIRE(reader.start(0));
  pty.hang_up();
  const auto first = wait_for(reader, 1);
  REQUIRE(first.size() == 1);
  CHECK(first[0].link == 0);
  CHECK(first[0].text.empty());
  CHECK((first[0].error == 0 || first[0].error == EIO));
  wait_ms(20);
  CHECK(taken(reader).empty());
  peer.send("still here", udp->local());
  const auto next = wait_for(reader, 1);
  REQUIRE(next.size() == 1);
  CHECK(next[0].text == "still here");
}

TEST_CASE("what finds no room is counted, and a loss is told as soon as there is room") {
  MemoryWire wire{{}, 1, "test"};
  const auto bench = wire.bench_end();
  const auto far = wire.far_end();
  constexpr std::size_t room = 8;
  Reader reader{{bench.get()}, room};
  for (int i = 0; i < 20; ++i) far->send(bytes_of(std::to_string(i)), BenchTime{1s});
  reader.poll_inline(BenchTime{2s});
  wire.cut();
  reader.poll_inline(BenchTime{3s});
  reader.poll_inline(BenchTime{4s});
  CHECK(reader.dropped() == 20 - room);
  const auto kept = taken(reader);
  REQUIRE(kept.size() == room);
  CHECK(kept.front().text == "0");
  CHECK(kept.back().text == "7");
  reader.poll_inline(BenchTime{5s});
  const auto loss = taken(reader);
  REQUIRE(loss.size() == 1);
  CHECK(loss[0].text.empty());
  reader.poll_inline(BenchTime{6s});
  CHECK(taken(reader).empty());
}

TEST_CASE("inline reading keeps the stamps of the modelled wire and takes nothing from the future") {
  WireModel model;
  model.inward.delay = 5ms;
  const MemoryWire wire{model, 1, "test"};
  const auto bench = wire.bench_end();
  const auto far = wire.far_end();
  Reader reader{{bench.get()}};
  far->send(bytes_of("later"), BenchTime{1s});
  reader.poll_inline(BenchTime{1s});
  CHECK(reader.consume([](const Arrival&) {}) == 0);
  reader.poll_inline(BenchTime{1s + 10ms});
  BenchTime when{};
  CHECK(reader.consume([&](const Arrival& a) { when = a.stamp.when; }) == 1);
  CHECK(when == BenchTime{1s + 5ms});
}

TEST_CASE("neither the reading thread nor the taking one allocates") {
  const PlainSocket peer;
  const PlainPty pty;
  const auto udp = udp_to(peer);
  const auto serial = serial_on(pty);
  Reader reader{{udp.get(), serial.get()}};
  REQUIRE(reader.start(0));
  peer.send("the thread is up", udp->local());
  REQUIRE(wait_for(reader, 1).size() == 1);
  const auto to = udp->local().socket_address();
  std::uint64_t bytes = 0;
  int arrivals = 0;
  const auto before = allocations::so_far();
  for (int i = 0; i < 2000; ++i) {
    sendto(peer.fd, "12345678", 8, 0, reinterpret_cast<const sockaddr*>(&to), sizeof to);
    if (::write(pty.master, "abc", 3) == 3) bytes += 3;
    bytes += 8;
    udp->send(std::as_bytes(std::span{"setpoint"}), now());
    serial->send(std::as_bytes(std::span{"V"}), now());
    for (int patience = 0; bytes > 0 && patience < patience_ms; ++patience) {
      reader.consume([&](const Arrival& a) { bytes -= a.size, ++arrivals; });
      if (bytes > 0) poll(nullptr, 0, 1);
    }
  }
  const auto made = allocations::so_far() - before;
  CHECK(made == 0);
  CHECK(bytes == 0);
  CHECK(arrivals >= 4000);

  // The count itself is awake.
  void* (*volatile planted)(std::size_t) = std::malloc;
  std::free(planted(1));
  CHECK(allocations::so_far() > before);
}

TEST_CASE("a memory wire and inline reading do not allocate") {
  const WireModel line{WireModel::Mode::stream, {10us, 20us, 0.01}, {10us, 20us, 0.01}, 100ns, 0ns};
  const MemoryWire net{{}, 1, "net"}, wire{line, 2, "line"};
  const auto net_end = net.bench_end(), net_far = net.far_end(), line_end = wire.bench_end(), line_far = wire.far_end();
  Reader reader{{net_end.get(), line_end.get()}};
  std::uint64_t came = 0;
  const auto before = allocations::so_far();
  for (auto t = BenchTime{1s}; t < BenchTime{2s}; t += 1ms) {
    net_far->send(std::as_bytes(std::span{"reading"}), t);
    line_far->send(std::as_bytes(std::span{"13.5\n"}), t);
    line_end->drop_queued_output();
    reader.poll_inline(t);
    reader.consume([&](const Arrival&) { ++came; });
  }
  const auto made = allocations::so_far() - before;
  CHECK(made == 0);
  CHECK(came > 1900);
}

namespace {

// Counts how often it is asked.
class Counting final : public Link {
 public:
  explicit Counting(Link& inner) : inner_{inner} {}
  int descriptor() const noexcept override { return inner_.descriptor(); }
  Received receive(std::span<std::byte> into, BenchTime at) noexcept override {
    ++asked;
    return inner_.receive(into, at);
  }
  SendResult send(std::span<const std::byte> bytes, BenchTime at) noexcept override { return inner_.send(bytes, at); }
  void drop_queued_output() noexcept override { inner_.drop_queued_output(); }
  const LinkCounters& counters() const noexcept override { return inner_.counters(); }
  std::string describe() const override { return inner_.describe(); }
  std::atomic<int> asked{0};

 private:
  Link& inner_;
};

}  // namespace

TEST_CASE("a descriptor that stays hung up does not make the reader spin") {
  const TestFolder folder;
  auto far = PtyLink::open(folder.path + "/port");
  REQUIRE(far);
  close(open((folder.path + "/port").c_str(), O_RDWR | O_NOCTTY));  // from now on poll() reports a hang-up
  Counting counting{**far};
  Reader reader{{&counting}};
  REQUIRE(reader.start(0));
  const auto start = now();
  wait_ms(200);
  reader.stop();
  const auto ms = (now() - start) / 1ms;
  // Two looks a sweep, one sweep a millisecond. A spinning reader asks a hundred thousand times.
  CHECK(counting.asked <= 3 * (ms + 2));
  CHECK(counting.asked > 0);
}

TEST_CASE("the reader says whether it got the priority that it asked for, and runs either way") {
  const PlainSocket peer;
  const auto udp = udp_to(peer);
  Reader reader{{udp.get()}};
  for (const int priority : {0, 39, 1000}) {
    CAPTURE(priority);
    const auto granted = reader.start(priority);
    REQUIRE(granted);
    // sched(7): SCHED_OTHER is 0, SCHED_FIFO is 1.
    REQUIRE(eventually([&] { return policy_of_thread("link reader") >= 0; }));
    CHECK(policy_of_thread("link reader") == (*granted ? 1 : 0));
    if (priority != 39) CHECK_FALSE(*granted);
    peer.send("hello", udp->local());
    CHECK(wait_for(reader, 1).size() == 1);
    reader.stop();
    CHECK(policy_of_thread("link reader") == -1);
  }
}
