// Independent programs on the bus: candump, cansend and cangen of can-utils.

#include "tests/system/process.hpp"
#include "tests/vm/bus.hpp"

using namespace trackrod;
using namespace trackrod::test;

TEST_CASE("candump sees what the link sends") {
  const auto link = open_link("vcan0", true);
  Process candump{{"candump", "-L", "-n", "3", "vcan0"}, "/tmp/candump"};
  usleep(300000);  // until it listens; nothing tells
  const SteadyTime time;
  const Bytes four{std::byte{0xDE}, std::byte{0xAD}, std::byte{0xBE}, std::byte{0xEF}};
  Bytes twelve(12, std::byte{0x11});
  CHECK(link->send(datagram(0x123, four), time.now()).state == SendState::sent);
  CHECK(link->send(datagram(0x18DA10F1, four), time.now()).state == SendState::sent);
  CHECK(link->send(datagram({0x7A, false, false, false, true, true, false, twelve}), time.now()).state ==
        SendState::sent);
  REQUIRE(candump.wait(5s) == 0);
  const auto seen = candump.out();
  CAPTURE(seen);
  CHECK(seen.find(" vcan0 123#DEADBEEF\n") != std::string::npos);
  CHECK(seen.find(" vcan0 18DA10F1#DEADBEEF\n") != std::string::npos);
  const auto fd = seen.find(" vcan0 07A##");
  REQUIRE(fd != std::string::npos);
  CHECK((seen[fd + 12] - '0') % 2 == 1);  // flag 1: rate switched; 4, that it is FD, stands there on newer kernels only
  CHECK(seen.substr(fd + 13, 25) == "111111111111111111111111\n");
}

TEST_CASE("what cansend sends arrives") {
  const auto link = open_link("vcan0", true);
  shell("cansend vcan0 5A1#11.22.33.44.55.66.77.88");
  shell("cansend vcan0 00000123#R");
  shell("cansend vcan0 213##3112233445566778899AABBCC");
  const auto got = receive(*link, 3);
  REQUIRE(got.size() == 3);
  CHECK((got[0].frame().id == 0x5A1 && !got[0].frame().extended && got[0].frame().data.size() == 8));
  CHECK((got[0].frame().data[0] == std::byte{0x11} && got[0].frame().data[7] == std::byte{0x88}));
  CHECK((got[1].frame().id == 0x123 && got[1].frame().extended && got[1].frame().remote));
  const auto fd = got[2].frame();
  CHECK((fd.id == 0x213 && fd.fd && fd.bit_rate_switch && fd.error_passive && fd.data.size() == 12));
  CHECK(fd.data[11] == std::byte{0xCC});
}

TEST_CASE("a burst of cangen over real drivers arrives whole and in order") {
  const auto link = open_link("can1");
  shell("cangen can0 -n 400 -g 0 -p 100 -I 321 -L 8 -D i");
  const auto got = receive(*link, 400, 10s);
  REQUIRE(got.size() == 400);
  for (std::size_t n = 0; n < got.size(); ++n) {
    const auto frame = got[n].frame();
    REQUIRE((frame.id == 0x321 && frame.data.size() == 8));
    // Its counter, least significant byte first.
    CHECK(std::to_integer<std::size_t>(frame.data[0]) + 256 * std::to_integer<std::size_t>(frame.data[1]) == n);
  }
  CHECK(link->counters().dropped_by_kernel == 0);
}
