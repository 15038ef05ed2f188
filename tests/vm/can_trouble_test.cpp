// Bus trouble: the kernel's serial-line CAN driver sits on a pseudo-terminal whose other end we hold. What is written
// there the driver takes for its adapter's reports, so that the kernel itself changes the controller's state and makes
// the error frames. An adapter that does not read stands for a bus that takes nothing.

#include <fcntl.h>
#include <linux/tty.h>
#include <sys/ioctl.h>
#include <termios.h>

#include <atomic>
#include <mutex>
#include <thread>

#include "drivers/protocol/can_error.hpp"
#include "tests/vm/bus.hpp"

using namespace trackrod;
using namespace trackrod::test;

namespace {

class Adapter {
 public:
  Adapter() : near_{posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC | O_NONBLOCK)} {
    REQUIRE(near_ >= 0);
    REQUIRE(grantpt(near_) == 0);
    REQUIRE(unlockpt(near_) == 0);
    far_ = ::open(ptsname(near_), O_RDWR | O_NOCTTY | O_CLOEXEC);
    REQUIRE(far_ >= 0);
    termios raw{};
    tcgetattr(far_, &raw);
    cfmakeraw(&raw);
    tcsetattr(far_, TCSANOW, &raw);
    const int discipline = N_SLCAN;
    REQUIRE(ioctl(far_, TIOCSETD, &discipline) == 0);
    char name[IFNAMSIZ]{};
    REQUIRE(ioctl(far_, SIOCGIFNAME, name) == 0);
    interface_ = name;
    reader_ = std::thread{[this] { read(); }};
    shell("ip link set " + interface_ + " up type can bitrate 500000");
  }
  ~Adapter() {
    ending_ = true;
    reads_ = true;
    reader_.join();
    close(far_);
    close(near_);
  }
  Adapter(const Adapter&) = delete;
  Adapter& operator=(const Adapter&) = delete;

  const std::string& interface() const { return interface_; }
  void says(const std::string& text) const {
    REQUIRE(write(near_, text.data(), text.size()) == static_cast<ssize_t>(text.size()));
  }
  void stop_reading() { reads_ = false; }
  void go_on_reading() { reads_ = true; }
  // What it was told to send, once nothing more comes.
  std::string sent() {
    usleep(300000);
    const std::lock_guard lock{mutex_};
    return taken_;
  }

 private:
  void read() {
    char buffer[64];
    while (!ending_) {
      pollfd readable{near_, POLLIN, 0};
      if (reads_ && poll(&readable, 1, 10) == 1) {
        const auto size = ::read(near_, buffer, sizeof buffer);
        const std::lock_guard lock{mutex_};
        if (size > 0) taken_.append(buffer, static_cast<std::size_t>(size));
      } else {
        usleep(5000);
      }
    }
  }

  int near_, far_{-1};
  std::string interface_;
  std::mutex mutex_;
  std::string taken_;
  std::atomic<bool> ending_{false}, reads_{true};
  std::thread reader_;
};

std::vector<CanTrouble> told_by(Link& link, std::size_t frames) {
  CanBusWatch watch;
  std::vector<CanTrouble> all;
  for (const auto& got : receive(link, frames)) {
    CHECK(watch.take(got.bytes, got.stamp.when));
    while (const auto code = watch.take_message()) all.push_back(static_cast<CanTrouble>(code - first_can_message));
  }
  return all;
}

}  // namespace

TEST_CASE("warning, passive, missing acknowledge and bus-off come as messages, and the bus can be opened again") {
  Adapter adapter;
  auto link = open_link(adapter.interface());
  link->want(std::array{CanFilter{0x123, 0x7FF, false}}, {});
  adapter.says("t1232AABB\r");
  const auto data = receive(*link, 1);
  REQUIRE(data.size() == 1);
  CHECK(data[0].frame().id == 0x123);

  adapter.says("sw100097\r");
  CHECK(told_by(*link, 1) == std::vector{CanTrouble::error_warning});
  adapter.says("sp128130\r");
  CHECK(told_by(*link, 1) == std::vector{CanTrouble::error_passive});
  adapter.says("e1a\r");
  const auto unheard = told_by(*link, 1);
  CHECK(std::find(unheard.begin(), unheard.end(), CanTrouble::no_acknowledge) != unheard.end());
  adapter.says("sb000255\r");
  CHECK(told_by(*link, 1) == std::vector{CanTrouble::bus_off});
  CHECK(link->counters().bus_errors == 4);

  CanSettings settings;
  settings.interface = adapter.interface();
  const auto off = CanLink::open(settings);
  REQUIRE_FALSE(off);
  CHECK(off.error().fault == Fault::refused);
  CHECK(off.error().context.find("bus-off") != std::string::npos);

  shell("ip link set " + adapter.interface() + " down");
  shell("ip link set " + adapter.interface() + " up");
  link = open_link(adapter.interface());
  adapter.says("t1240\r");
  const auto again = receive(*link, 1);
  REQUIRE(again.size() == 1);
  CHECK(again[0].frame().id == 0x124);
}

TEST_CASE("a restart that another controller tells comes as a message") {
  const auto link = open_link("vcan0");
  link->want({}, {});  // error frames come whatever is wanted
  const PlainSocket peer{"vcan0"};
  peer.send(CAN_ERR_FLAG | 0x100U, Bytes(8));
  CHECK(told_by(*link, 1) == std::vector{CanTrouble::restarted});
}

TEST_CASE("a bus that takes nothing lets frames go stale, which are dropped and counted, and the rest stays in order") {
  Adapter adapter;
  const auto link = open_link(adapter.interface());
  adapter.stop_reading();
  const SteadyTime time;
  std::vector<std::uint32_t> accepted;
  std::uint32_t n = 0;
  int refusals = 0;
  // As a device does it: the same frame again each millisecond until it is taken or given up, then the next value.
  const auto offer = [&] {
    for (;;) {
      const auto sent = link->send(datagram(0x300, numbered(n, 4)), time.now());
      if (sent.state == SendState::would_block) {
        ++refusals;
        usleep(1000);
        continue;
      }
      if (sent.state == SendState::sent) accepted.push_back(n);
      ++n;
      return sent;
    }
  };
  SendResult sent;
  const auto begun = time.now();
  do sent = offer();
  while (sent.state == SendState::sent && n < 5000);
  REQUIRE(sent.state == SendState::lost);
  CHECK(sent.error == ENOBUFS);
  CHECK(refusals > 0);
  const auto before = time.now();
  CHECK(offer().error == ENOBUFS);
  CHECK(time.now() - before >= 20ms);
  CHECK(link->counters().send_failures == 2);
  CHECK(before > begun);

  adapter.go_on_reading();
  for (int i = 0; i < 10; ++i) CHECK(offer().state == SendState::sent);
  const auto text = adapter.sent();
  std::vector<std::uint32_t> seen;
  for (auto at = text.find("t3004"); at != std::string::npos; at = text.find("t3004", at + 1)) {
    std::uint32_t value = 0;
    for (std::size_t i = 0; i < 4; ++i)
      value |= static_cast<std::uint32_t>(std::stoul(text.substr(at + 5 + 2 * i, 2), nullptr, 16)) << (8 * i);
    seen.push_back(value);
  }
  CHECK(seen == accepted);
}

TEST_CASE("a queue that others have filled refuses a frame, and takes it later") {
  Adapter adapter;
  const auto link = open_link(adapter.interface());
  const PlainSocket other{adapter.interface()};
  adapter.stop_reading();
  REQUIRE(other.flood(0x700) == ENOBUFS);
  const SteadyTime time;
  const auto frame = datagram(0x301, numbered(7, 4));
  const auto refused = link->send(frame, time.now());
  CHECK(refused.state == SendState::would_block);
  CHECK(refused.error == ENOBUFS);
  adapter.go_on_reading();
  auto sent = refused;
  for (int i = 0; i < 15 && sent.state == SendState::would_block; ++i) {
    usleep(1000);
    sent = link->send(frame, time.now());
  }
  CHECK(sent.state == SendState::sent);
  CHECK(link->counters().send_failures == 0);
  CHECK(adapter.sent().find("t301407000000") != std::string::npos);
}
