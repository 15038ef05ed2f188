#include "drivers/link/serial_link.hpp"

#include <sys/file.h>
#include <sys/ioctl.h>
#include <sys/stat.h>

#include <fstream>

#include "drivers/link/reader.hpp"
#include "tests/link/wire_help.hpp"

using namespace trackrod;
using namespace std::chrono_literals;

namespace {

SerialSettings settings_for(const std::string& path) {
  SerialSettings s;
  s.path = path;
  s.settle = 1ms;
  return s;
}

std::unique_ptr<SerialLink> open_link(const std::string& path) {
  auto link = SerialLink::open(settings_for(path));
  INFO((link ? "" : link.error().context));
  REQUIRE(link);
  return std::move(*link);
}

void check_refused(const SerialSettings& settings, Fault fault, const std::vector<std::string>& words) {
  const auto link = SerialLink::open(settings);
  REQUIRE_FALSE(link);
  CHECK(link.error().fault == fault);
  CAPTURE(link.error().context);
  CHECK(link.error().context.find("serial port '" + settings.path + "'") == 0);
  for (const auto& w : words) CHECK(link.error().context.find(w) != std::string::npos);
}

// What the system's own stty says of the port.
std::string stty(int fd, const std::string& what) { return Program{{"stty", what}, fd}.all_output(); }

}  // namespace

TEST_CASE("every byte value passes unchanged in both directions") {
  const PlainPty pty;
  const auto link = open_link(pty.path);
  std::string all;
  for (int i = 0; i < 256; ++i) all += static_cast<char>(i);
  CHECK(link->send(bytes_of(all), now()).state == SendState::sent);
  CHECK(pty.read(256) == all);
  pty.write(all);
  CHECK(take(*link, 256) == all);
  CHECK(link->counters().received_bytes == 256);
  CHECK(link->counters().sent_bytes == 256);
}

TEST_CASE("a line goes through two joined terminals to another program and back") {
  const TestFolder folder;
  const auto ours = folder.path + "/ours", theirs = folder.path + "/theirs";
  const Program joiner{{"socat", "pty,raw,echo=0,link=" + ours, "pty,raw,echo=0,link=" + theirs}};
  REQUIRE(eventually([&] { return std::filesystem::exists(ours) && std::filesystem::exists(theirs); }));
  const Program peer{{"/usr/bin/python3", TRACKROD_SOURCE_DIR "/tests/link/serial_peer.py", theirs}};
  REQUIRE(readable(peer.output));
  const auto link = open_link(ours);
  CHECK(link->send(bytes_of("steer\n"), now()).state == SendState::sent);
  CHECK(take(*link, 6) == "reets\n");
}

TEST_CASE("the port is raw, keeps its modem lines at close, and runs at the rate asked for, as stty sees it") {
  const PlainPty pty;
  auto settings = settings_for(pty.path);
  for (const int baud : {9600, 57600, 115200, 921600}) {
    settings.baud = baud;
    settings.stop_bits = baud == 9600 ? 2 : 1;
    auto link = SerialLink::open(settings);
    REQUIRE(link);
    CHECK(stty((*link)->descriptor(), "speed") == std::to_string(baud) + "\n");
    const auto all = stty((*link)->descriptor(), "-a");
    CAPTURE(all);
    for (const std::string word : {"-icanon", "-echo ", "-isig", "-opost", "-ixon", "-icrnl", "-hupcl", "-crtscts",
                                   "cs8", "clocal", "min = 1", "time = 0"})
      CHECK(all.find(word) != std::string::npos);
    CHECK(all.find(baud == 9600 ? " cstopb" : "-cstopb") != std::string::npos);
  }
}

TEST_CASE("a rate that is in no list is set by the kernel's own interface and read back") {
  const PlainPty pty;
  auto settings = settings_for(pty.path);
  settings.baud = 250000;
  auto link = SerialLink::open(settings);
  REQUIRE(link);
  CHECK(baud_in_use((*link)->descriptor()) == 250000);
  pty.write("still there");
  CHECK(take(**link, 11) == "still there");
}

TEST_CASE("what came before the port was opened is dropped") {
  const PlainPty pty;
  {
    const auto first = open_link(pty.path);  // makes the line raw
  }
  const int holder = open(pty.path.c_str(), O_RDWR | O_NOCTTY);
  pty.write("start-up babble\n");
  const auto link = open_link(pty.path);
  close(holder);
  std::array<std::byte, 1500> buffer{};
  CHECK(link->receive(buffer, now()).state == Received::State::nothing);
  pty.write("live");
  CHECK(take(*link, 4) == "live");
}

TEST_CASE("a second user of a port is refused and told that another program holds it") {
  const PlainPty pty;
  {
    const auto first = open_link(pty.path);
    check_refused(settings_for(pty.path), Fault::refused, {"another program holds it", "fuser -v " + pty.path});
  }
  CHECK(SerialLink::open(settings_for(pty.path)));  // given free
}

TEST_CASE("programs that only lock a port, or only forbid opening it, hold it as well") {
  const PlainPty pty;
  const int other = open(pty.path.c_str(), O_RDWR | O_NOCTTY);
  REQUIRE(other >= 0);
  SECTION("by flock") { REQUIRE(flock(other, LOCK_EX | LOCK_NB) == 0); }
  SECTION("by TIOCEXCL, which does not stop root") { REQUIRE(ioctl(other, TIOCEXCL) == 0); }
  check_refused(settings_for(pty.path), Fault::refused, {"another program holds it"});
  ioctl(other, TIOCNXCL);
  close(other);
  CHECK(SerialLink::open(settings_for(pty.path)));
}

TEST_CASE("a port whose user was killed can be opened at once") {
  const PlainPty pty;
  std::array<int, 2> told{};
  REQUIRE(pipe(told.data()) == 0);
  const pid_t user = fork();
  if (user == 0) {
    const auto link = SerialLink::open(settings_for(pty.path));
    if (link && write(told[1], "x", 1) == 1) pause();
    _exit(1);
  }
  REQUIRE(readable(told[0]));
  check_refused(settings_for(pty.path), Fault::refused, {"another program holds it"});
  kill(user, SIGKILL);
  waitpid(user, nullptr, 0);
  CHECK(SerialLink::open(settings_for(pty.path)));
  close(told[0]);
  close(told[1]);
}

TEST_CASE("a port that is not there, not allowed or no port is told in a sentence that says what to try") {
  check_refused(settings_for("/dev/serial/by-id/nothing-here"), Fault::link_lost,
                {"No such file", "cable", "/dev/serial/by-id"});
  check_refused(settings_for("/dev/null"), Fault::bad_input, {"is no serial port"});

  const PlainPty pty;
  REQUIRE(chmod(pty.path.c_str(), 0) == 0);
  const bool root = geteuid() == 0;
  constexpr uid_t nobody = 65534;
  if (root) REQUIRE(seteuid(nobody) == 0);
  check_refused(settings_for(pty.path), Fault::refused, {"Permission denied", "dialout"});
  if (root) REQUIRE(seteuid(0) == 0);
}

TEST_CASE("silence is not a hang-up, and a hang-up is not silence") {
  PlainPty pty;
  const auto link = open_link(pty.path);
  std::array<std::byte, 1500> buffer{};
  for (int i = 0; i < 100; ++i) REQUIRE(link->receive(buffer, now()).state == Received::State::nothing);
  pty.hang_up();
  REQUIRE(eventually([&] { return link->receive(buffer, now()).state == Received::State::lost; }));
  CHECK(link->receive(buffer, now()).state == Received::State::lost);  // and stays so
  const auto sent = link->send(bytes_of("hello?"), now());
  CHECK(sent.state == SendState::lost);
  CHECK(sent.error == EIO);
  CHECK(link->counters().send_failures == 1);
}

TEST_CASE("input is taken in the pieces that fit, and its stamp covers the time since the port was last found empty") {
  const PlainPty pty;
  const auto link = open_link(pty.path);
  std::array<std::byte, 4> four{};
  REQUIRE(link->receive(four, now()).state == Received::State::nothing);
  wait_ms(5);
  const auto before = now();
  pty.write("0123456789");
  const auto written = now();
  REQUIRE(readable(link->descriptor()));
  wait_ms(20);
  std::string all;
  while (all.size() < 10) {
    const auto got = link->receive(four, now());
    REQUIRE(got.state == Received::State::bytes);
    CHECK(got.stamp.by == StampedBy::harness);
    CHECK(got.stamp.when - got.stamp.uncertainty <= before);
    CHECK(got.stamp.when >= written);
    all += text_of(std::span{four}.first(got.size));
  }
  CHECK(all == "0123456789");
}

TEST_CASE("a full port takes a part, and the rest can follow without a byte lost or doubled") {
  const PlainPty pty;
  const auto link = open_link(pty.path);
  std::string all;
  for (int i = 0; all.size() < 200'000; ++i) all += std::to_string(i) + ",";
  std::size_t sent = 0;
  std::string came;
  int blocked = 0;
  while (came.size() < all.size()) {
    const auto result = link->send(bytes_of(all).subspan(sent), now());
    REQUIRE(result.state != SendState::lost);
    if (result.state == SendState::would_block) ++blocked;
    sent += result.taken;
    const auto part = pty.read(std::min<std::size_t>(sent - came.size(), 3000));
    REQUIRE_FALSE(part.empty());
    came += part;
  }
  CHECK(blocked > 0);
  CHECK(came == all);
  CHECK(link->counters().sent_bytes == all.size());
}

TEST_CASE(
    "who takes a port over sends on the same line, hears only what comes from then on, and leaves the lock alone") {
  const PlainPty pty;
  const auto opened = open_link(pty.path);
  pty.write("from before");
  REQUIRE(readable(opened->descriptor()));
  {
    const auto adopted = SerialLink::adopt(settings_for(pty.path), dup(opened->descriptor()));
    pty.write("from now");
    CHECK(take(*adopted, 8) == "from now");
    CHECK(adopted->send(bytes_of("same line"), now()).state == SendState::sent);
    CHECK(pty.read(9) == "same line");
  }
  check_refused(settings_for(pty.path), Fault::refused, {"another program holds it"});
}

TEST_CASE("a line that is unplugged is lost, and a fresh opening finds it again under its lasting name") {
  const TestFolder folder;
  const auto ours = folder.path + "/ours", theirs = folder.path + "/theirs";
  const auto plug_in = [&] {
    auto joiner = std::make_unique<Program>(
        std::vector<std::string>{"socat", "pty,raw,echo=0,link=" + ours, "pty,raw,echo=0,link=" + theirs});
    REQUIRE(eventually([&] { return std::filesystem::exists(ours) && std::filesystem::exists(theirs); }));
    return joiner;
  };
  auto cable = plug_in();
  auto link = open_link(ours);
  cable.reset();  // killed: the terminals go, the links to them are left over
  std::array<std::byte, 1500> buffer{};
  REQUIRE(eventually([&] { return link->receive(buffer, now()).state == Received::State::lost; }));
  check_refused(settings_for(ours), Fault::link_lost, {"is the cable in"});

  std::filesystem::remove(ours);
  std::filesystem::remove(theirs);
  cable = plug_in();
  CHECK(link->receive(buffer, now()).state == Received::State::lost);  // the old one does not come back by itself
  link = open_link(ours);
  const Program peer{{"/usr/bin/python3", TRACKROD_SOURCE_DIR "/tests/link/serial_peer.py", theirs}};
  REQUIRE(readable(peer.output));
  CHECK(link->send(bytes_of("again\n"), now()).state == SendState::sent);
  CHECK(take(*link, 6) == "niaga\n");
}

TEST_CASE("a storm of bytes comes through whole, and does not keep the reader from other links") {
  const PlainPty storm, calm;
  const auto loud = open_link(storm.path), quiet = open_link(calm.path);
  Reader reader{{loud.get(), quiet.get()}};
  std::string all, came, other;
  for (int i = 0; all.size() < 500'000; ++i) all += std::to_string(i) + ",";
  calm.write("still heard");
  for (std::size_t at = 0; at < all.size(); at += 2000) {  // a pseudo-terminal holds about 4000
    storm.write(all.substr(at, 2000));
    do {
      reader.poll_inline(now());
      reader.consume([&](const Arrival& a) { (a.link == 0 ? came : other) += text_of(a.data()); });
    } while (came.size() < std::min(all.size(), at + 2000) && readable(loud->descriptor()));
  }
  CHECK(came == all);
  CHECK(other == "still heard");
  CHECK(reader.dropped() == 0);
}

TEST_CASE("what a pseudo-terminal does not know is refused where it matters, and else told") {
  const PlainPty pty;
  auto settings = settings_for(pty.path);
  SECTION("RS-485, without which two senders would meet on the wire") {
    settings.rs485 = Rs485Settings{};
    check_refused(settings, Fault::refused, {"does not do RS-485", "leave \"rs485\" out"});
    CHECK(SerialLink::open(settings_for(pty.path)));  // nothing is left locked
  }
  SECTION("lines and latency, when they are asked for") {
    CHECK(open_link(pty.path)->remark().empty());
    settings.low_latency = true;
    settings.dtr = LineLevel::off;
    const auto link = SerialLink::open(settings);
    REQUIRE(link);
    CHECK((*link)->remark().find("knows no low latency") != std::string::npos);
    CHECK((*link)->remark().find("DTR line is not off") != std::string::npos);
  }
  SECTION("parity and seven bits, which a pseudo-terminal does not take") {
    settings.parity = Parity::even;
    settings.data_bits = 7;
    const auto link = SerialLink::open(settings);
    REQUIRE(link);
    CHECK((*link)->remark().find("did not take the parity") != std::string::npos);
    CHECK((*link)->remark().find("did not take the number of data bits") != std::string::npos);
  }
}

TEST_CASE("dropping DTR at closing is left to those who ask for it") {
  const PlainPty pty;
  auto settings = settings_for(pty.path);
  settings.hang_up = true;
  const auto link = SerialLink::open(settings);
  REQUIRE(link);
  CHECK(stty((*link)->descriptor(), "-a").find(" hupcl") != std::string::npos);
}

TEST_CASE("the lasting names of a port are those that lead to it") {
  const TestFolder folder;
  const PlainPty pty, other;
  std::filesystem::create_symlink(pty.path, folder.path + "/usb-supply-port0");
  std::filesystem::create_symlink(other.path, folder.path + "/usb-meter-port0");
  std::filesystem::create_symlink("/dev/nothing-here", folder.path + "/usb-gone-port0");
  CHECK(lasting_names(pty.path, folder.path) == std::vector<std::string>{folder.path + "/usb-supply-port0"});
  CHECK(lasting_names("", folder.path).size() == 3);
  CHECK(lasting_names("/dev/nothing-else", folder.path).empty());
  CHECK(lasting_names(pty.path, folder.path + "/no-such-folder").empty());
}
