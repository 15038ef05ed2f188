// The serial link on a real driver of adapters on USB: two of them, emulated, with a null-modem cable between them.

#include <poll.h>

#include <filesystem>
#include <fstream>

#include "drivers/link/serial_link.hpp"
#include "tests/catch.hpp"
#include "tests/system/process.hpp"

using namespace trackrod;
using namespace trackrod::test;
using namespace std::chrono_literals;

namespace {

namespace fs = std::filesystem;

std::string port(int number) { return "/dev/ttyUSB" + std::to_string(number); }
fs::path driver_entry(int number) { return "/sys/bus/usb-serial/devices/ttyUSB" + std::to_string(number); }

// Adapters are found one after the other after the start.
void wait_for_both() {
  REQUIRE(eventually([] { return fs::exists(port(0)) && fs::exists(port(1)); }, 20s));
}

SerialSettings settings_of(int number) {
  SerialSettings s;
  s.path = port(number);
  s.settle = 10ms;
  return s;
}

std::unique_ptr<SerialLink> open_port(const SerialSettings& settings) {
  auto link = SerialLink::open(settings);
  if (!link) FAIL(link.error().context);
  return std::move(*link);
}

void put(const fs::path& file, const std::string& text) {
  std::ofstream out{file};
  out << text << std::flush;
  REQUIRE(out.good());
}

std::vector<std::byte> pattern(std::size_t size) {
  std::vector<std::byte> bytes(size);
  for (std::size_t i = 0; i < size; ++i) bytes[i] = static_cast<std::byte>(i * 7 + 3);
  return bytes;
}

// Until that many bytes have come, the line is lost, or two seconds are over.
std::vector<std::byte> take(Link& link, std::size_t count, bool& lost) {
  const SteadyTime time;
  std::vector<std::byte> all;
  std::array<std::byte, 256> into{};
  lost = false;
  for (const auto end = time.now() + 2s; all.size() < count && time.now() < end;) {
    const auto got = link.receive(into, time.now());
    if (got.state == Received::State::lost) {
      lost = true;
      break;
    }
    if (got.state == Received::State::bytes)
      all.insert(all.end(), into.begin(), into.begin() + static_cast<std::ptrdiff_t>(got.size));
    pollfd readable{link.descriptor(), POLLIN, 0};
    if (got.state == Received::State::nothing) poll(&readable, 1, 5);
  }
  return all;
}

void check_passes(Link& from, Link& to) {
  const auto sent = pattern(200);
  CHECK(from.send(sent, SteadyTime{}.now()).state == SendState::sent);
  bool lost = false;
  CHECK(take(to, sent.size(), lost) == sent);
  CHECK_FALSE(lost);
}

// The adapter of a port is let go by its driver, or found by it again: what the system does when a plug is pulled and
// put in, told by hand.
class Plug {
 public:
  explicit Plug(int number) : switch_{fs::canonical(driver_entry(number)).parent_path().parent_path() / "authorized"} {}
  void pull() const { put(switch_, "0"); }
  void put_in() const { put(switch_, "1"); }

 private:
  fs::path switch_;
};

}  // namespace

TEST_CASE("bytes pass unchanged between two adapters on USB, both ways, at several rates") {
  wait_for_both();
  for (const int baud : {9600, 115200, 921600}) {
    CAPTURE(baud);
    auto one = settings_of(0), other = settings_of(1);
    one.baud = other.baud = baud;
    const auto a = open_port(one), b = open_port(other);
    check_passes(*a, *b);
    check_passes(*b, *a);
  }
}

TEST_CASE("an adapter's driver is asked for low latency, and left as it is where the bench file says no") {
  wait_for_both();
  const Plug plug{0};  // fresh from the plug it has the driver's own setting
  plug.pull();
  plug.put_in();
  REQUIRE(eventually([] { return fs::exists(port(0)); }, 10s));
  const auto timer = driver_entry(0) / "latency_timer";  // ms
  put(timer, "16");
  auto settings = settings_of(0);
  settings.low_latency = false;
  {
    const auto link = open_port(settings);
    CHECK(slurp(timer) == "16\n");
  }
  settings.low_latency = true;
  const auto link = open_port(settings);
  CHECK(slurp(timer) == "1\n");
}

TEST_CASE("a pulled adapter is a lost line at once, its port cannot be opened, and after a replug it can") {
  wait_for_both();
  const Plug plug{0};
  const auto far = open_port(settings_of(1));
  {
    const auto link = open_port(settings_of(0));
    check_passes(*far, *link);
    plug.pull();
    bool lost = false;
    CHECK(take(*link, 1, lost).empty());
    CHECK(lost);
    CHECK(link->send(pattern(8), SteadyTime{}.now()).state == SendState::lost);
  }
  REQUIRE(eventually([] { return !fs::exists(port(0)); }, 5s));
  const auto refused = SerialLink::open(settings_of(0));
  REQUIRE_FALSE(refused);
  CAPTURE(refused.error().context);
  CHECK(refused.error().fault == Fault::link_lost);
  CHECK(refused.error().context.find("serial port '/dev/ttyUSB0'") == 0);

  plug.put_in();
  REQUIRE(eventually([] { return fs::exists(port(0)); }, 10s));
  const auto link = open_port(settings_of(0));
  check_passes(*far, *link);
  check_passes(*link, *far);
}
