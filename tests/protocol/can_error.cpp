// What a CAN controller says of its bus. The bits are those of linux/can/error.h, written out by hand here.

#include "drivers/protocol/can_error.hpp"

#include <set>

#include "harness/base/can_frame.hpp"
#include "tests/protocol/wire.hpp"

using namespace trackrod;
using namespace trackrod::testing;
using namespace std::chrono_literals;

namespace {

struct Bus {
  CanBusWatch watch;
  BenchTime now{1000s};

  bool error(std::uint32_t classes, int controller = 0) {
    const auto data = bytes({0, controller, 0, 0, 0, 0, 0, 0});
    std::array<std::byte, greatest_can_datagram> room;
    return watch.take(write_can({classes, false, false, true, false, false, false, data}, room), now);
  }
  std::vector<CanTrouble> told() {
    std::vector<CanTrouble> all;
    while (const auto code = watch.take_message()) all.push_back(static_cast<CanTrouble>(code - first_can_message));
    return all;
  }
};

using Told = std::vector<CanTrouble>;

}  // namespace

TEST_CASE("each change of a controller's state is told once, in its order") {
  Bus bus;
  CHECK(bus.error(0x004, 0x08));  // sending reached the warning level
  CHECK(bus.error(0x004, 0x08));
  CHECK(bus.told() == Told{CanTrouble::error_warning});
  bus.error(0x004, 0x20 | 0x08);
  CHECK(bus.told() == Told{CanTrouble::error_passive});
  bus.error(0x040);
  CHECK(bus.told() == Told{CanTrouble::bus_off});
  bus.error(0x100);
  CHECK(bus.told() == Told{CanTrouble::restarted});
  bus.error(0x004, 0x04);
  bus.error(0x004, 0x10);
  bus.error(0x040);
  CHECK(bus.told() == Told{CanTrouble::error_warning, CanTrouble::error_passive, CanTrouble::bus_off});
  bus.error(0x004, 0x40);
  CHECK(bus.told() == Told{CanTrouble::error_active});
}

TEST_CASE("a flood of bus errors is told once a second") {
  Bus bus;
  int told = 0;
  for (int i = 0; i < 3500; ++i) {
    bus.error(0x020 | 0x080);  // no acknowledge, as a bus error
    told += static_cast<int>(bus.told().size());
    bus.now += 1ms;
  }
  CHECK(told == 4);
}

TEST_CASE("each kind of trouble has a code and words of its own") {
  Bus bus;
  bus.error(0x001);
  bus.error(0x002);
  bus.error(0x008);
  bus.error(0x010);
  bus.error(0x020);
  bus.error(0x004, 0x01);
  bus.error(0x004, 0x02);
  bus.error(0x080);
  CHECK(bus.told() == Told{CanTrouble::no_acknowledge, CanTrouble::lost_arbitration, CanTrouble::protocol_error,
                           CanTrouble::transceiver, CanTrouble::send_timeout, CanTrouble::receive_overflow,
                           CanTrouble::send_overflow, CanTrouble::bus_error});
  std::set<std::string> words;
  for (std::uint32_t i = 0; i < static_cast<std::uint32_t>(CanTrouble::count); ++i)
    words.insert(can_message_words(first_can_message + i));
  CHECK(words.size() == static_cast<std::size_t>(CanTrouble::count));
  CHECK(words.count("") == 0);
  CHECK(can_message_words(first_can_message - 1).empty());
  CHECK(can_message_words(first_can_message + static_cast<std::uint32_t>(CanTrouble::count)).empty());
}

TEST_CASE("frames of data, and bytes that are no frame, are left to the protocol") {
  Bus bus;
  std::array<std::byte, greatest_can_datagram> room;
  const auto data = bytes({1, 2});
  CHECK_FALSE(bus.watch.take(write_can({0x40, false, false, false, false, false, false, data}, room), bus.now));
  CHECK_FALSE(bus.watch.take(bytes({0x20, 0}), bus.now));
  CHECK_FALSE(bus.watch.take({}, bus.now));
  CHECK(bus.told().empty());
}
