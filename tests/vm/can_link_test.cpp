// The CAN link against the Linux CAN stack: frames, stamps, filters, echoes, losses, and interfaces that go.

#include <sys/time.h>

#include <cerrno>
#include <thread>

#include "drivers/link/reader.hpp"
#include "tests/vm/bus.hpp"

using namespace trackrod;
using namespace trackrod::test;

namespace {

struct Ends {
  const char* near;
  const char* far;
  bool fd;
};
// A virtual bus, a virtual cable, and two emulated controllers on one bus.
constexpr Ends buses[] = {{"vcan0", "vcan0", true}, {"vxcan0", "vxcan1", true}, {"can0", "can1", false}};

// Offers the frame until it is taken.
SendResult send_patiently(Link& link, const Bytes& bytes, int& refusals) {
  const SteadyTime time;
  for (;;) {
    const auto sent = link.send(bytes, time.now());
    if (sent.state != SendState::would_block) return sent;
    ++refusals;
    usleep(1000);
  }
}

}  // namespace

TEST_CASE("frames arrive as they were sent, in order, stamped by the kernel in between") {
  for (const auto& bus : buses) {
    CAPTURE(bus.near, bus.far);
    const auto near = open_link(bus.near, bus.fd), far = open_link(bus.far, bus.fd);
    const auto eight = numbered(1, 8), wide = numbered(2, 64);
    std::vector<CanFrame> frames{{0x123, false, false, false, false, false, false, eight},
                                 {0x123, true, false, false, false, false, false, eight},
                                 {0x1FFFFFFF, true, false, false, false, false, false, {}},
                                 {0x7FF, false, true, false, false, false, false, {}}};
    if (bus.fd) {
      frames.push_back({0x321, false, false, false, true, true, false, wide});
      frames.push_back({0x321, false, false, false, true, false, false, eight});
    }
    const SteadyTime time;
    for (const auto& frame : frames) {
      const auto bytes = datagram(frame);
      const auto before = time.now();
      REQUIRE(near->send(bytes, before).state == SendState::sent);
      const auto got = receive(*far, 1);
      const auto after = time.now();
      REQUIRE(got.size() == 1);
      CHECK(got[0].bytes == bytes);
      CHECK(got[0].stamp.by == StampedBy::kernel);
      CHECK(got[0].stamp.when >= before - got[0].stamp.uncertainty);
      CHECK(got[0].stamp.when <= after);
    }
    int refusals = 0;
    std::thread sender{[&] {
      for (std::uint32_t n = 0; n < 300; ++n) send_patiently(*near, datagram(0x100 + n % 5, numbered(n, 8)), refusals);
    }};
    const auto got = receive(*far, 300, 10s);
    sender.join();
    REQUIRE(got.size() == 300);
    for (std::uint32_t n = 0; n < 300; ++n) CHECK(got[n].bytes == datagram(0x100 + n % 5, numbered(n, 8)));
    CHECK(far->counters().received == frames.size() + 300);
  }
}

TEST_CASE("an FD frame on a classic bus is refused when sending, and FD when opening") {
  const auto classic = open_link("vcan0");
  const SteadyTime time;
  const auto sent = classic->send(datagram(0x10, numbered(1, 12)), time.now());
  CHECK((sent.state == SendState::lost && sent.error == EINVAL));
  CHECK(classic->send(Bytes(3), time.now()).error == EINVAL);
  CHECK(classic->counters().send_failures == 2);
  CanSettings fd;
  fd.interface = "can0";
  fd.fd = true;
  const auto refused = CanLink::open(fd);
  REQUIRE_FALSE(refused);
  CHECK(refused.error().context.find("fd on") != std::string::npos);
  CanSettings slow;
  slow.interface = "can0";
  slow.bit_rate = 250000;
  const auto wrong = CanLink::open(slow);
  REQUIRE_FALSE(wrong);
  CHECK(wrong.error().context.find("its bit rate is 500000 bit/s, the bench file says 250000") != std::string::npos);
}

TEST_CASE("only wanted frames arrive: the kernel holds back the rest") {
  const auto link = open_link("vcan1", true);
  const PlainSocket peer{"vcan1"};
  link->want(
      std::array{CanFilter{0x120, 0x7FF, false}, CanFilter{0x200, 0x7F0, false}, CanFilter{0x120, 0x1FFFFFFF, true}},
      std::array{CanFilter{0x500, 0x7FF, false}});
  for (std::uint32_t id = 0; id < 0x700; id += 1) {
    if (id == 0x500) continue;
    peer.send(id, numbered(id, 4));
    peer.send(id | CAN_EFF_FLAG, numbered(id, 4));
  }
  const auto got = receive(*link, 1000, 300ms);
  REQUIRE(got.size() == 18);
  for (const auto& g : got) {
    const auto frame = g.frame();
    CHECK((frame.id == 0x120 || (!frame.extended && (frame.id & 0x7F0) == 0x200)));
  }
  CHECK(link->counters().foreign == 0);  // what is not wanted did not even come to us
  link->want({}, {});
  peer.send(0x120, numbered(0, 4));
  CHECK(receive(*link, 1, 100ms).empty());
}

TEST_CASE("own frames come back as echoes that time the sending side, and are not taken for input") {
  for (const auto& bus : buses) {
    CAPTURE(bus.near);
    const auto near = open_link(bus.near), far = open_link(bus.far);
    const CanFilter ours{0x201, 0x7FF, false};
    near->want({}, std::array{ours});
    int refusals = 0;
    for (std::uint32_t n = 0; n < 20; ++n) {
      REQUIRE(send_patiently(*near, datagram(0x201, numbered(n, 8)), refusals).state == SendState::sent);
      CHECK(receive(*near, 1, 20ms).empty());
    }
    const auto& counters = near->counters();
    CHECK(counters.echoes == 20);
    CHECK(counters.echoes_missed == 0);
    CHECK(counters.last_echo_ns > 0);
    CHECK(counters.greatest_echo_ns >= counters.last_echo_ns);
    CHECK(counters.greatest_echo_ns < 1'000'000'000);
    CHECK(counters.received == 0);
    CHECK(receive(*far, 20).size() == 20);

    // Somebody else sends what only we should.
    REQUIRE(far->send(datagram(0x201, numbered(0, 8)), SteadyTime{}.now()).state == SendState::sent);
    CHECK(receive(*near, 1, 100ms).empty());
    CHECK(counters.foreign == 1);
    CHECK(counters.echoes == 20);
  }
}

TEST_CASE("frames that find the receive buffer full are counted by the kernel") {
  CanSettings small;
  small.interface = "vcan0";
  small.receive_buffer = 4096;
  const auto link = CanLink::open(small);
  REQUIRE(link);
  const PlainSocket peer{"vcan0"};
  for (std::uint32_t n = 0; n < 500; ++n) peer.send(0x77, numbered(n, 8));
  const auto kept = receive(**link, 500, 100ms).size();
  CHECK(kept > 0);
  CHECK(kept < 500);
  peer.send(0x78, numbered(0, 8));  // the kernel tells with the next one that it keeps
  REQUIRE(receive(**link, 1).size() == 1);
  CHECK((*link)->counters().dropped_by_kernel == 500 - kept);
}

TEST_CASE("an interface that goes down is lost by name, works when it is up again, and is gone when removed") {
  shell("ip link add vcan9 type vcan");
  CanSettings settings;
  settings.interface = "vcan9";
  const auto early = CanLink::open(settings);
  REQUIRE_FALSE(early);
  CHECK(early.error().fault == Fault::refused);
  CHECK(early.error().context.find("can vcan9: the interface is down; bring it up: sudo ip link set vcan9 up") !=
        std::string::npos);

  shell("ip link set vcan9 up");
  const auto link = open_link("vcan9");
  const SteadyTime time;
  shell("ip link set vcan9 down");
  const auto down = receive(*link, 1);
  REQUIRE(down.size() == 1);
  CHECK(down[0].lost == ENETDOWN);
  const auto unsent = link->send(datagram(0x10, numbered(1, 2)), time.now());
  CHECK((unsent.state == SendState::lost && unsent.error == ENETDOWN));

  shell("ip link set vcan9 up");
  const PlainSocket peer{"vcan9"};
  CHECK(link->send(datagram(0x10, numbered(1, 2)), time.now()).state == SendState::sent);
  CHECK(peer.receive().can_id == 0x10);
  peer.send(0x11, numbered(1, 2));
  CHECK(receive(*link, 1).size() == 1);
  CHECK(open_link("vcan9"));

  shell("ip link del vcan9");
  const auto gone = receive(*link, 1);
  REQUIRE(gone.size() == 1);
  CHECK(gone[0].lost == ENODEV);
  const auto nowhere = link->send(datagram(0x10, numbered(1, 2)), time.now());
  CHECK((nowhere.state == SendState::lost && (nowhere.error == ENXIO || nowhere.error == ENODEV)));
  const auto late = CanLink::open(settings);
  REQUIRE_FALSE(late);
  CHECK(late.error().context.find("its CAN interfaces: ") != std::string::npos);
  CHECK(late.error().context.find("can1") != std::string::npos);
}

TEST_CASE("the reading thread hands frames on and tells when the interface goes") {
  shell("ip link add vcan8 type vcan");
  shell("ip link set vcan8 up");
  const auto link = open_link("vcan8");
  const PlainSocket peer{"vcan8"};
  Reader reader{{link.get()}};
  REQUIRE(reader.start(0));
  for (std::uint32_t n = 0; n < 100; ++n) peer.send(0x100 + n, numbered(n, 8));
  std::size_t frames = 0, losses = 0;
  int error = 0;
  const auto take = [&](const Arrival& a) {
    if (a.lost()) {
      ++losses;
      error = a.error;
    } else if (read_can(a.data())->id == 0x100 + frames) {
      ++frames;
    }
  };
  const auto look_until = [&](auto done) {
    for (int i = 0; i < 400 && !done(); ++i) {
      reader.consume(take);
      usleep(5000);
    }
  };
  look_until([&] { return frames == 100; });
  CHECK(frames == 100);
  shell("ip link set vcan8 down");
  look_until([&] { return losses > 0; });
  CHECK((losses == 1 && error == ENETDOWN));
  shell("ip link del vcan8");
  reader.stop();
}

TEST_CASE("a burst beyond the transmit queue of a controller arrives whole and in order") {
  const auto near = open_link("can0"), far = open_link("can1");
  int refusals = 0;
  std::thread sender{[&] {
    for (std::uint32_t n = 0; n < 1000; ++n) send_patiently(*near, datagram(0x200, numbered(n, 8)), refusals);
  }};
  const auto got = receive(*far, 1000, 20s);
  sender.join();
  REQUIRE(got.size() == 1000);
  for (std::uint32_t n = 0; n < 1000; ++n) REQUIRE(got[n].bytes == datagram(0x200, numbered(n, 8)));
  CHECK(near->counters().sent == 1000);
  CHECK(near->counters().send_failures == 0);
}

TEST_CASE("a second process' link on the same descriptor keeps the filters and begins with what comes from then on") {
  const auto keeper = open_link("vcan0");
  keeper->want(std::array{CanFilter{0x300, 0x7FF, false}}, {});
  const PlainSocket peer{"vcan0"};
  peer.send(0x300, numbered(1, 8));
  CanSettings settings;
  settings.interface = "vcan0";
  const auto loop = CanLink::adopt(settings, dup(keeper->descriptor()));
  peer.send(0x301, numbered(2, 8));
  peer.send(0x300, numbered(3, 8));
  const auto got = receive(*loop, 5, 200ms);
  REQUIRE(got.size() == 1);
  CHECK(got[0].bytes == datagram(0x300, numbered(3, 8)));
}

TEST_CASE("setting the wall clock for real moves no sample") {
  const auto link = open_link("vcan0");
  const PlainSocket peer{"vcan0"};
  const SteadyTime time;
  const auto step_wall_clock = [](std::chrono::seconds by) {
    timeval now{};
    gettimeofday(&now, nullptr);
    now.tv_sec += by.count();
    REQUIRE(settimeofday(&now, nullptr) == 0);
  };
  std::vector<BenchTime> sent;
  constexpr std::uint32_t count = 400;
  std::atomic<std::uint32_t> n{0};
  std::thread device{[&] {
    for (; n < count; ++n) {
      sent.push_back(time.now());
      peer.send(0x55, numbered(n, 8));
      usleep(1000);
    }
  }};
  std::vector<Got> got;
  std::vector<BenchTime> read;
  int steps = 0;
  while (got.size() < count) {
    if (const auto one = receive(*link, 1); one.size() == 1)
      got.push_back(one[0]);
    else
      break;
    read.push_back(time.now());
    // While frames are under way: some wait already when the clock is set.
    if (got.size() % 50 == 25) step_wall_clock(++steps % 2 == 1 ? 1h : -2h);
  }
  device.join();
  REQUIRE(got.size() == count);
  CHECK(steps >= 7);
  for (std::size_t i = 0; i < count; ++i) {
    INFO("frame " << i);
    CHECK(got[i].stamp.when >= sent[i] - got[i].stamp.uncertainty);
    CHECK(got[i].stamp.when <= read[i]);
    if (i > 0) CHECK(got[i].stamp.when >= got[i - 1].stamp.when - got[i].stamp.uncertainty);
  }
}
