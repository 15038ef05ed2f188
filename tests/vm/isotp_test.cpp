// ISO-TP through the real kernel, in the virtual machine: frames on the wire as printed, other programs as peers, and a
// whole diagnosis.

#include <linux/can.h>
#include <linux/can/raw.h>
#include <net/if.h>
#include <sys/ioctl.h>
#include <sys/socket.h>

#include <cstdio>
#include <cstring>
#include <fstream>

#include "drivers/link/isotp_link.hpp"
#include "drivers/protocol/uds.hpp"
#include "tests/link/wire_help.hpp"

using namespace trackrod;
using namespace std::chrono_literals;

namespace {

using Bytes = std::vector<std::byte>;

Bytes bytes(std::initializer_list<int> values) {
  Bytes b;
  for (const int v : values) b.push_back(static_cast<std::byte>(v));
  return b;
}

IsotpSettings tester() {
  IsotpSettings s;
  s.interface = "vcan0";
  s.request = 0x7E0;
  s.answer = 0x7E8;
  return s;
}

std::unique_ptr<Link> open_link(const IsotpSettings& settings = tester()) {
  auto link = IsotpLink::open(settings);
  INFO((link ? "" : link.error().context));
  REQUIRE(link);
  return std::move(*link);
}

std::unique_ptr<Link> far_end(const IsotpSettings& settings = tester()) {
  auto link = isotp_kind().open_far_end(settings);
  REQUIRE(link);
  return std::move(*link);
}

// The next message; empty when none comes.
Bytes next(Link& link, Stamp* stamp = nullptr) {
  if (!readable(link.descriptor())) return {};
  Bytes into(longest_message);
  const auto got = link.receive(into, now());
  into.resize(got.state == Received::State::bytes ? got.size : 0);
  if (stamp != nullptr) *stamp = got.stamp;
  return into;
}

Bytes counting(std::size_t size) {
  Bytes b(size);
  for (std::size_t i = 0; i < size; ++i) b[i] = static_cast<std::byte>(i * 7 + i / 256);
  return b;
}

std::string hex(const Bytes& b) {
  std::string text;
  for (const auto x : b) {
    char two[4];
    std::snprintf(two, sizeof two, "%02X ", std::to_integer<unsigned>(x));
    text += two;
  }
  return text;
}

// Single frames on the bus.
class RawCan {
 public:
  RawCan() : fd_{socket(PF_CAN, SOCK_RAW, CAN_RAW)} {
    sockaddr_can here{};
    here.can_family = AF_CAN;
    here.can_ifindex = static_cast<int>(if_nametoindex("vcan0"));
    REQUIRE(bind(fd_, reinterpret_cast<const sockaddr*>(&here), sizeof here) == 0);
  }
  ~RawCan() { close(fd_); }
  RawCan(const RawCan&) = delete;
  RawCan& operator=(const RawCan&) = delete;
  Bytes receive(canid_t id) const {
    can_frame frame{};
    while (readable(fd_) && read(fd_, &frame, sizeof frame) == sizeof frame)
      if (frame.can_id == id) {
        const auto all = std::as_bytes(std::span{frame.data}).first(frame.len);
        return {all.begin(), all.end()};
      }
    return {};
  }
  void send(canid_t id, const Bytes& data) const {
    can_frame frame{};
    frame.can_id = id;
    frame.len = static_cast<__u8>(data.size());
    std::memcpy(frame.data, data.data(), data.size());
    REQUIRE(write(fd_, &frame, sizeof frame) == sizeof frame);
  }

 private:
  int fd_;
};

// Whether a message to this identifier is awaited, by the kernel's list. ("isotpe" there waits for the echo of its own
// frames.) The other program says nothing when it is ready.
bool somebody_takes(const std::string& identifier) {
  std::ifstream list{"/proc/net/can/rcvlist_sff"};
  for (std::string line; std::getline(list, line);)
    if (line.find(" " + identifier + " ") != std::string::npos && line.ends_with(" isotp")) return true;
  return false;
}

void set_up(bool up) {
  const int s = socket(AF_INET, SOCK_DGRAM, 0);
  ifreq request{};
  std::strncpy(request.ifr_name, "vcan0", sizeof request.ifr_name - 1);
  REQUIRE(ioctl(s, SIOCGIFFLAGS, &request) == 0);
  request.ifr_flags = static_cast<short>(up ? request.ifr_flags | IFF_UP : request.ifr_flags & ~IFF_UP);
  REQUIRE(ioctl(s, SIOCSIFFLAGS, &request) == 0);
  close(s);
}

}  // namespace

// ISO 15765-2 in 8-byte frames, as printed in worked examples: single frame 0L, first frame 1LLL, flow control 30 BS
// STmin, consecutive frame 2N.
TEST_CASE("a diagnostic question and its long answer are the printed frames on the bus") {
  const RawCan bus;
  const auto link = open_link();
  const auto question = bytes({0x19, 0x02, 0x5A});
  REQUIRE(link->send(question, now()).state == SendState::sent);
  CHECK(bus.receive(0x7E0) == bytes({0x03, 0x19, 0x02, 0x5A}));
  bus.send(0x7E8, bytes({0x10, 0x0B, 0x59, 0x02, 0xFB, 0x12, 0x34, 0x56}));
  CHECK(bus.receive(0x7E0) == bytes({0x30, 0x00, 0x00}));
  const auto before = now();
  bus.send(0x7E8, bytes({0x21, 0x20, 0x12, 0x34, 0x57, 0x60}));
  Stamp stamp;
  CHECK(next(*link, &stamp) == bytes({0x59, 0x02, 0xFB, 0x12, 0x34, 0x56, 0x20, 0x12, 0x34, 0x57, 0x60}));
  CHECK(stamp.by == StampedBy::kernel);
  CHECK(stamp.when + stamp.uncertainty >= before);
  CHECK(stamp.when - stamp.uncertainty <= now());
}

TEST_CASE("padding, flow control and 29-bit identifiers are as the bench file says") {
  auto settings = tester();
  settings.request = 0x18DA10F1;
  settings.answer = 0x18DAF110;
  settings.padding = 0xCC;
  settings.block_size = 4;
  settings.separation = 1500us;
  const RawCan bus;
  const auto link = open_link(settings);
  REQUIRE(link->send(bytes({0x3E, 0x80}), now()).state == SendState::sent);
  CHECK(bus.receive(0x18DA10F1 | CAN_EFF_FLAG) == bytes({0x02, 0x3E, 0x80, 0xCC, 0xCC, 0xCC, 0xCC, 0xCC}));
  bus.send(0x18DAF110 | CAN_EFF_FLAG, bytes({0x10, 0x0B, 1, 2, 3, 4, 5, 6}));
  CHECK(bus.receive(0x18DA10F1 | CAN_EFF_FLAG) == bytes({0x30, 0x04, 0x02, 0xCC, 0xCC, 0xCC, 0xCC, 0xCC}));
}

TEST_CASE("messages of every size go whole to another program and back") {
  for (const std::size_t size : {1, 7, 8, 62, 63, 500, 1400, 4095}) {
    CAPTURE(size);
    const auto message = counting(size);
    {
      const auto link = open_link();
      Program other{{"isotprecv", "-s", "7E8", "-d", "7E0", "vcan0"}};
      REQUIRE(eventually([] { return somebody_takes("7e0"); }));
      REQUIRE(link->send(message, now()).state == SendState::sent);
      CHECK(other.all_output() == hex(message) + "\n");
    }
    {
      const auto link = open_link();
      Program other{{"sh", "-c", "echo " + hex(message) + " | isotpsend -s 7E8 -d 7E0 vcan0"}};
      CHECK(next(*link) == message);
    }
  }
}

TEST_CASE("an interface that goes down and comes up is no lost link; one message is lost") {
  const auto link = open_link(), other = far_end();
  set_up(false);
  wait_ms(50);
  Bytes into(longest_message);
  CHECK(link->receive(into, now()).state == Received::State::nothing);
  set_up(true);
  other->receive(into, now());
  REQUIRE(other->send(bytes({1, 2, 3}), now()).state == SendState::sent);
  CHECK(next(*link) == bytes({1, 2, 3}));
}

TEST_CASE("a message that breaks off is reported by the kernel and costs no more than itself") {
  const RawCan bus;
  const auto link = open_link();
  bus.send(0x7E8, bytes({0x10, 0x0B, 1, 2, 3, 4, 5, 6}));
  bus.send(0x7E8, bytes({0x25, 7, 8, 9, 10, 11}));  // number 5 where 1 is due
  Bytes into(longest_message);
  CHECK(eventually(
      [&] { return link->receive(into, now()).state == Received::State::nothing && link->counters().refused == 1; }));
  bus.send(0x7E8, bytes({0x02, 0x54, 0x55}));
  CHECK(next(*link) == bytes({0x54, 0x55}));
}

TEST_CASE("an interface that is not there is named, with what to try") {
  auto settings = tester();
  settings.interface = "can9";
  const auto link = IsotpLink::open(settings);
  REQUIRE_FALSE(link);
  CHECK(link.error().fault == Fault::bad_input);
  CHECK(link.error().context.find("isotp can9") == 0);
  CHECK(link.error().context.find("ip link") != std::string::npos);
}

TEST_CASE("a fault memory of many entries is read over the bus, with a unit that takes its time") {
  UdsSettings settings;
  settings.identity.emplace();
  settings.faults.emplace();
  settings.faults->every = 20ms;
  settings.faults->counts = 3;
  settings.faults->codes.push_back({{"known", {}}, {"00000A", {}}});
  Uds uds{settings};
  const auto link = open_link(), unit = far_end();
  class : public FieldSink {
   public:
    void field(FieldIndex field, double value, Stamp) noexcept override { last[field] = value; }
    std::array<double, 2> last{};
  } fields;

  Bytes memory = bytes({0x59, 0x02, 0xFF});
  for (int code = 1; code <= 1023; ++code)
    for (const int b : {0, code >> 8, code & 0xFF, 0x08}) memory.push_back(static_cast<std::byte>(b));
  std::size_t told = 0;
  CHECK(eventually([&] {
    for (auto out = uds.due(now()); !out.empty(); out = uds.due(now())) link->send(out, now());
    Bytes into(longest_message);
    if (unit->receive(into, now()).state == Received::State::bytes) {
      unit->send(bytes({0x7F, 0x19, 0x78}), now());
      unit->send(memory, now());
    }
    if (const auto got = link->receive(into, now()); got.state == Received::State::bytes)
      uds.on_bytes(std::span{into}.first(got.size), got.stamp, fields);
    while (uds.take_message() != 0) ++told;
    return fields.last[0] == 1023.0;
  }));
  CHECK(fields.last[1] == 1.0);
  CHECK(told > 0);
  CHECK(uds.counters().timed_out == 0);
  CHECK(uds.counters().bad_length == 0);
}
