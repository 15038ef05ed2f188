#include "drivers/protocol/bits.hpp"

#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <random>
#include <sstream>

#include "tests/protocol/wire.hpp"

using namespace trackrod;
using namespace trackrod::testing;

namespace {

Bytes written(int start, int bits, ByteOrder order, std::uint64_t value, std::size_t length) {
  Bytes frame(length);
  BitSpan{start, bits, order}.write(frame, value);
  return frame;
}

std::string hex(const Bytes& b) {
  std::string text;
  char two[3];
  for (const auto x : b) {
    std::snprintf(two, sizeof two, "%02x", std::to_integer<unsigned>(x));
    text += two;
  }
  return text;
}

}  // namespace

// Worked by hand; docs/protocols.md shows the same examples.
TEST_CASE("little order counts up from the least significant bit") {
  CHECK(written(8, 16, ByteOrder::little, 0x1234, 3) == bytes({0x00, 0x34, 0x12}));
  CHECK(written(4, 12, ByteOrder::little, 0xABC, 2) == bytes({0xC0, 0xAB}));
  // 10 1010 1011: the lowest two bits in bits 6 and 7 of byte 0, the other eight in byte 1.
  CHECK(written(6, 10, ByteOrder::little, 0x2AB, 2) == bytes({0xC0, 0xAA}));
}

TEST_CASE("big order counts down from the most significant bit and on at bit 7 of the next byte") {
  CHECK(written(15, 16, ByteOrder::big, 0x1234, 3) == bytes({0x00, 0x12, 0x34}));
  CHECK(written(3, 12, ByteOrder::big, 0xABC, 2) == bytes({0x0A, 0xBC}));
  // 10 1010 1011: the highest six bits in bits 5 to 0 of byte 0, the other four in bits 7 to 4 of byte 1.
  CHECK(written(5, 10, ByteOrder::big, 0x2AB, 2) == bytes({0x2A, 0xB0}));
  CHECK(BitSpan{5, 10, ByteOrder::big}.numbers() == std::vector<int>{12, 13, 14, 15, 0, 1, 2, 3, 4, 5});
}

TEST_CASE("signed values are two's complement") {
  const auto frame = bytes({0xC7, 0xCF, 0xFF});  // -12345 = 0xFFCFC7 in 24 bits
  CHECK(BitSpan{0, 24, ByteOrder::little}.read_signed(frame) == -12345);
  CHECK(BitSpan{0, 24, ByteOrder::little}.read(frame) == 0xFFCFC7);
  CHECK(BitSpan{7, 24, ByteOrder::big}.read_signed(bytes({0xFF, 0xCF, 0xC7})) == -12345);
}

TEST_CASE("writing leaves the bits around alone") {
  auto frame = bytes({0xFF, 0xFF, 0xFF});
  BitSpan{6, 10, ByteOrder::little}.write(frame, 0);
  CHECK(frame == bytes({0x3F, 0x00, 0xFF}));
  frame = bytes({0xFF, 0xFF, 0xFF});
  BitSpan{5, 10, ByteOrder::big}.write(frame, 0);
  CHECK(frame == bytes({0xC0, 0x0F, 0xFF}));
}

// Source: Python's int.from_bytes and int.to_bytes.
TEST_CASE("both orders agree with Python's whole-number arithmetic on random frames") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937_64 random{seed};
  struct Case {
    Bytes frame;
    BitSpan span;
    bool is_signed;
    std::uint64_t value;
  };
  std::vector<Case> cases;
  const auto in = (std::filesystem::temp_directory_path() / ("bits-" + std::to_string(seed))).string(),
             out = in + ".out";
  std::ofstream file{in};
  while (cases.size() < 5000) {
    Bytes frame(1 + random() % 24);
    for (auto& b : frame) b = static_cast<std::byte>(random());
    const int all = static_cast<int>(frame.size()) * 8;
    const int start = static_cast<int>(random() % static_cast<unsigned>(all)),
              bits = 1 + static_cast<int>(random() % 53);
    const auto order = random() % 2 == 0 ? ByteOrder::little : ByteOrder::big;
    const BitSpan span{start, bits, order};
    const auto numbers = span.numbers();
    if (*std::max_element(numbers.begin(), numbers.end()) >= all) continue;
    const bool is_signed = random() % 2 == 0;
    const auto value = random() >> 1;
    file << hex(frame) << ' ' << start << ' ' << bits << ' ' << (order == ByteOrder::little ? "little" : "big") << ' '
         << is_signed << ' ' << value << '\n';
    cases.push_back({frame, span, is_signed, value});
  }
  file.close();
  const auto command =
      "/usr/bin/python3 '" TRACKROD_SOURCE_DIR "/tests/protocol/bits_reference.py' '" + in + "' > '" + out + "'";
  REQUIRE(std::system(command.c_str()) == 0);
  std::ifstream answers{out};
  std::int64_t held{};
  std::string after;
  for (auto& c : cases) {
    REQUIRE(answers >> held >> after);
    CHECK((c.is_signed ? c.span.read_signed(c.frame) : static_cast<std::int64_t>(c.span.read(c.frame))) == held);
    c.span.write(c.frame, c.value);
    CHECK(hex(c.frame) == after);
  }
  std::remove(in.c_str());
  std::remove(out.c_str());
}
