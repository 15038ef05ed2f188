#include "harness/base/can_frame.hpp"

#include <vector>

#include "tests/catch.hpp"

namespace trackrod {
namespace {

std::vector<std::byte> bytes(std::initializer_list<int> values) {
  std::vector<std::byte> all;
  for (const int value : values) all.push_back(static_cast<std::byte>(value));
  return all;
}

std::vector<std::byte> written(const CanFrame& frame) {
  std::array<std::byte, greatest_can_datagram> into{};
  const auto there = write_can(frame, into);
  return {there.begin(), there.end()};
}

TEST_CASE("a standard and an extended frame have the bytes that the header says") {
  const auto data = bytes({0xDE, 0xAD});
  CanFrame frame;
  frame.id = 0x123;
  frame.data = data;
  CHECK(written(frame) == bytes({0x00, 0x00, 0x01, 0x23, 0x00, 0xDE, 0xAD}));
  frame.id = 0x18DA10F1;
  frame.extended = true;
  CHECK(written(frame) == bytes({0x98, 0xDA, 0x10, 0xF1, 0x00, 0xDE, 0xAD}));
}

TEST_CASE("every frame that can exist comes back as it was written") {
  const std::vector<std::byte> data(64, std::byte{0x5A});
  for (const bool extended : {false, true})
    for (const bool fd : {false, true})
      for (std::size_t length = 0; length <= data.size(); ++length) {
        CAPTURE(extended, fd, length);
        CanFrame frame;
        frame.id = extended ? 0x1ABCDEF0U : 0x7FFU;
        frame.extended = extended;
        frame.fd = fd;
        frame.bit_rate_switch = fd;
        frame.data = std::span{data}.first(length);
        const auto there = written(frame);
        // Lengths of ISO 11898-1.
        const bool possible = length <= 8 || (fd && (length == 12 || length == 16 || length == 20 || length == 24 ||
                                                     length == 32 || length == 48 || length == 64));
        REQUIRE(there.empty() == !possible);
        if (!possible) continue;
        const auto back = read_can(there);
        REQUIRE(back);
        CHECK(back->id == frame.id);
        CHECK(back->extended == extended);
        CHECK(back->fd == fd);
        CHECK(back->bit_rate_switch == fd);
        CHECK(back->data.size() == length);
      }
}

TEST_CASE("bytes that are no CAN frame are refused") {
  CHECK_FALSE(read_can(bytes({0, 0, 1, 0x23})));                                // too short
  CHECK_FALSE(read_can(bytes({0, 0, 0x08, 0x00, 0})));                          // 12-bit identifier
  CHECK_FALSE(read_can(bytes({0, 0, 1, 0x23, 0, 1, 2, 3, 4, 5, 6, 7, 8, 9})));  // nine bytes
  CHECK_FALSE(read_can(bytes({0, 0, 1, 0x23, 1, 1, 2, 3, 4, 5, 6, 7, 8, 9})));  // nine bytes, FD
  CHECK_FALSE(read_can(bytes({0, 0, 1, 0x23, 2, 1})));                          // switched rate, not FD
  CHECK_FALSE(read_can(bytes({0x40, 0, 1, 0x23, 0, 1})));                       // remote with data
  CHECK_FALSE(read_can(bytes({0, 0, 1, 0x23, 8})));                             // unknown flag
}

}  // namespace
}  // namespace trackrod
