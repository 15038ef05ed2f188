// A CAN link as far as a machine without CAN shows it; its work is tried in the virtual machine (tests/vm).

#include "drivers/link/can_echoes.hpp"
#include "drivers/link/can_link.hpp"
#include "drivers/link/memory_link.hpp"
#include "tests/catch.hpp"

using namespace trackrod;
using namespace std::chrono_literals;

namespace {

Chosen read(const std::string& text, Problems& problems) {
  const auto node = parse_json(text, "bench.json", problems);
  REQUIRE(node);
  Chosen chosen;
  read_kind(*node, "kind", {can_kind().entry}, chosen, problems);
  return chosen;
}

std::array<std::byte, greatest_can_datagram> zeros{};

// How long a frame with `bytes` data bytes is under way on an idle bus in a rehearsal, by the wire alone.
double microseconds_on_wire(const CanSettings& settings, std::size_t bytes) {
  auto model = can_kind().model(settings);
  model.outward = model.inward = {};
  const MemoryWire wire{model, 1, "bus"};
  const auto near = wire.bench_end(), far = wire.far_end();
  const BenchTime start{1s};
  REQUIRE(near->send(std::span{zeros}.first(can_header_size + bytes), start).state == SendState::sent);
  std::array<std::byte, 100> into;
  const auto got = far->receive(into, start + 1s);
  REQUIRE(got.state == Received::State::bytes);
  return seconds(got.stamp.when - start) * 1e6;
}

}  // namespace

TEST_CASE("the settings of a CAN link are read from a bench file, with defaults") {
  Problems problems;
  const auto plain = read(R"({"kind": "can", "interface": "can0"})", problems);
  const auto full = read(R"({"kind": "can", "interface": "vcan12", "fd": true, "bit_rate": 250000,
                             "data_bit_rate": 2000000, "stamp_within": "0.2 ms", "give_up": "5 ms"})",
                         problems);
  REQUIRE(problems.none());
  const auto& a = std::any_cast<const CanSettings&>(plain.value);
  CHECK((a.interface == "can0" && !a.fd && a.bit_rate == 500000 && a.give_up == 20ms));
  const auto& b = std::any_cast<const CanSettings&>(full.value);
  CHECK((b.interface == "vcan12" && b.fd && b.bit_rate == 250000 && b.data_bit_rate == 2000000));
  CHECK((b.stamp_within == 200us && b.give_up == 5ms));
  for (const auto* bad : {R"("a name with blanks")", R"("longer_than_15_ch")", R"("can/0")", R"("")", "7"}) {
    Problems told;
    read(std::string{R"({"kind": "can", "interface": )"} + bad + "}", told);
    CHECK(told.count() == 1);
  }
}

TEST_CASE("a CAN interface that is not there is named, with what to try") {
  CanSettings settings;
  settings.interface = "tr-none0";
  const auto link = CanLink::open(settings);
  REQUIRE_FALSE(link);
  CHECK(link.error().context.find("can tr-none0") != std::string::npos);
  CHECK(link.error().context.find("ip -details link show type can") != std::string::npos);
  settings.interface = "lo";
  const auto loopback = CanLink::open(settings);
  REQUIRE_FALSE(loopback);
  CHECK(loopback.error().context.find("no CAN bus") != std::string::npos);
}

TEST_CASE("each thing that is wrong with an interface is told with the command that helps") {
  CanSettings wanted;
  wanted.interface = "can7";
  CanInterface good;
  good.is_can = good.is_up = true;
  good.bit_rate = 500000;
  good.restart_ms = 100;
  good.queue = "pfifo_fast";
  const auto sentence = [&](CanInterface found, const CanSettings& s) {
    const auto checked = check_can(s, found);
    return checked ? std::string{} : checked.error().context;
  };
  CHECK(sentence(good, wanted).empty());
  CHECK(can_remark(wanted, good).empty());

  auto down = good;
  down.is_up = false;
  CHECK(sentence(down, wanted).find("sudo ip link set can7 up type can bitrate 500000 restart-ms 100") !=
        std::string::npos);
  auto slow = good;
  slow.bit_rate = 250000;
  CHECK(sentence(slow, wanted).find("250000 bit/s, the bench file says 500000") != std::string::npos);
  auto off = good;
  off.bus_off = true;
  CHECK(sentence(off, wanted).find("bus-off") != std::string::npos);
  auto fd = wanted;
  fd.fd = true;
  fd.data_bit_rate = 2000000;
  CHECK(sentence(good, fd).find("dbitrate 2000000 fd on") != std::string::npos);
  auto fast = good;
  fast.takes_fd = true;
  fast.data_bit_rate = 4000000;
  CHECK(sentence(fast, fd).find("data bit rate is 4000000") != std::string::npos);

  CanInterface virtual_bus;
  virtual_bus.is_can = true;
  CHECK(sentence(virtual_bus, wanted).find("bring it up: sudo ip link set can7 up") != std::string::npos);
  auto stubborn = good;
  stubborn.restart_ms = 0;
  CHECK(can_remark(wanted, stubborn).find("restart-ms 100") != std::string::npos);
  auto fair = good;
  fair.queue = "fq_codel";
  CHECK(can_remark(wanted, fair).find("pfifo_fast") != std::string::npos);
}

TEST_CASE("a frame in a rehearsal takes as long as the longest one of its size on a real bus") {
  // ISO 11898-1 with as many stuff bits as there can be: 55 + 10 n bits for an 11-bit identifier.
  CanSettings classic;
  CHECK(microseconds_on_wire(classic, 0) == Approx(55 * 2.0));
  CHECK(microseconds_on_wire(classic, 8) == Approx(135 * 2.0));
  classic.bit_rate = 1000000;
  CHECK(microseconds_on_wire(classic, 8) == Approx(135.0));
  // CAN FD without a switch of the rate, 64 bytes: 712 bits at most; with it 29 bits of the frame keep the slow rate,
  // so that 64 bytes at 500 kbit/s and 2 Mbit/s take 333 us before any stuffing.
  CanSettings fd;
  fd.fd = true;
  CHECK(microseconds_on_wire(fd, 64) == Approx(712 * 2.0).epsilon(0.01));
  fd.data_bit_rate = 2000000;
  const double switched = microseconds_on_wire(fd, 64);
  CHECK(switched > 333.0);
  CHECK(switched < 333.0 * 1.25);
}

TEST_CASE("an echo is matched to its frame, and frames whose echoes did not come are counted") {
  CanEchoes echoes;
  const auto frame = [](int n) { return std::array{std::byte{0}, static_cast<std::byte>(n)}; };
  const BenchTime start{1s};
  for (int n = 0; n < 5; ++n) echoes.offer(frame(n), start + n * 1ms);
  const auto first = echoes.echo(frame(0));
  REQUIRE(first);
  CHECK((first->sent == start && first->passed_over == 0));
  const auto fourth = echoes.echo(frame(3));
  REQUIRE(fourth);
  CHECK((fourth->sent == start + 3ms && fourth->passed_over == 2));
  CHECK_FALSE(echoes.echo(frame(2)));  // passed over: it can only be another process' frame
  CHECK_FALSE(echoes.echo(frame(9)));
  // What the system refused is no frame that was missed, however often it was offered.
  for (int n = 0; n < 200; ++n) {
    echoes.offer(frame(5), start + n * 1ms);
    if (n < 199) echoes.refused();
  }
  const auto late = echoes.echo(frame(5));
  REQUIRE(late);
  CHECK((late->sent == start + 199ms && late->passed_over == 1));  // the one is frame 4
  echoes.offer(frame(4), start);
  for (int n = 100; n < 250; ++n) echoes.offer(frame(n), start);  // more than are kept
  CHECK(echoes.echo(frame(4)));
  CHECK(echoes.echo(frame(162)));
  CHECK_FALSE(echoes.echo(frame(163)));
}
