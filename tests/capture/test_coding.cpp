// The short codings of the journal, at the edges between them.
#include <boost/crc.hpp>
#include <cmath>
#include <limits>
#include <random>

#include "harness/capture/block_builder.hpp"
#include "tests/capture/helpers.hpp"
#include "tests/catch.hpp"

using namespace trackrod;
using namespace trackrod::test;

namespace {

Bytes bytes_of(std::string_view s) { return {reinterpret_cast<const std::uint8_t*>(s.data()), s.size()}; }

// As docs/formats/journal.md tells it, a byte at a time.
std::string plain_varint(std::uint64_t v) {
  std::string bytes;
  while (v >= 128) {
    bytes += static_cast<char>(128 + v % 128);
    v /= 128;
  }
  return bytes + static_cast<char>(v);
}

SignalInfo on_a_grid(double resolution, double offset) {
  SignalInfo s;
  s.resolution = resolution;
  s.resolution_offset = offset;
  return s;
}

// The size of the block that holds the values, which must come back as they went in.
std::size_t size_in_block(const std::vector<double>& values, const SignalInfo& signal) {
  const std::vector<SignalInfo> signals{signal};
  BlockBuilder block{signals};
  for (std::size_t i = 0; i < values.size(); ++i)
    block.add(Sample{at(static_cast<std::int64_t>(i) * 1ms), values[i], 1000, 0, StampedBy::kernel});
  const auto payload = block.take();
  std::vector<double> read;
  REQUIRE(BlockReader{signals}.visit(bytes_of(payload),
                                     {each_sample([&](const Sample& s) { read.push_back(s.value); }), nullptr}));
  REQUIRE(read.size() == values.size());
  for (std::size_t i = 0; i < values.size(); ++i) {
    CAPTURE(i, values[i], read[i]);
    CHECK(same_bits(values[i], read[i]));
  }
  return payload.size();
}

}  // namespace

TEST_CASE("the checksum is CRC32C, by the processor's instruction and by the table") {
  // RFC 3720, B.4: the check value, and 32 bytes of zeros, of ones, counting up and counting down.
  std::string up, down;
  for (int i = 0; i < 32; ++i) {
    up += static_cast<char>(i);
    down += static_cast<char>(31 - i);
  }
  const std::pair<std::string, std::uint32_t> published[] = {{"123456789", 0xE3069283},
                                                             {std::string(32, '\0'), 0x8A9136AA},
                                                             {std::string(32, '\xFF'), 0x62A8AB43},
                                                             {up, 0x46DD794E},
                                                             {down, 0x113FDB5C}};
  for (const auto& [text, sum] : published) {
    CHECK(crc32c(bytes_of(text)) == sum);
    CHECK(crc32c_by_table(bytes_of(text)) == sum);
  }
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937_64 random{seed};
  for (std::size_t size = 0; size < 100; ++size) {
    std::string text;
    for (std::size_t i = 0; i < size; ++i) text += static_cast<char>(random());
    CHECK(crc32c(bytes_of(text)) == crc32c_by_table(bytes_of(text)));
  }
}

TEST_CASE("varints of every length are written as the format's page says") {
  for (int shift = 0; shift < 64; ++shift)
    for (const std::uint64_t near : {-2, -1, 0, 1}) {
      const auto v = (std::uint64_t{1} << shift) + near;
      ByteWriter out;
      out.varint(v);
      CAPTURE(v);
      CHECK(out.view() == plain_varint(v));
      ByteReader in{bytes_of(out.view())};
      CHECK(in.varint() == v);
      CHECK(in.finished());
    }
}

TEST_CASE("many varints read together are those read one by one, of whatever bytes") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937_64 random{seed};
  for (int trial = 0; trial < 2000; ++trial) {
    ByteWriter out;
    const auto count = random() % 40;
    const auto longest = 1 + random() % 64;  // bits
    for (std::uint64_t i = 0; i < count; ++i) out.varint(random() >> (64 - longest));
    auto bytes = out.take();
    const bool spoilt = random() % 2 == 0 && !bytes.empty();
    if (spoilt) bytes[random() % bytes.size()] = static_cast<char>(random());
    if (spoilt && random() % 2 == 0) bytes.resize(random() % bytes.size());

    ByteReader single{bytes_of(bytes)}, together{bytes_of(bytes)};
    std::vector<std::uint64_t> expected, read;
    for (std::uint64_t i = 0; i < count && single.good(); ++i) expected.push_back(single.varint());
    CHECK(together.varints(count, [&](std::uint64_t v) { read.push_back(v); }) == single.good());
    if (!single.good()) continue;
    CHECK(read == expected);
    CHECK(together.left() == single.left());
  }
}

TEST_CASE("values on the grid of their signal take little room, near the largest counts too") {
  const auto signal = on_a_grid(0.001, 0.0);
  std::vector<double> slow, far;
  for (int i = 0; i < 1000; ++i) {
    slow.push_back(0.001 * std::round(30000.0 * std::sin(1e-3 * i)));
    far.push_back(0.001 * (2251799813685000.0 + i));  // up to 2^51 counts and beyond
  }
  const auto steady = size_in_block(std::vector<double>(1000, 0.5), signal);
  CHECK(size_in_block(slow, signal) < steady + 1100);  // a byte a sample
  CHECK(size_in_block(far, signal) < steady + 8100);   // never more than the doubles
}

TEST_CASE("one value off the grid spoils neither the others nor itself") {
  const double odd[] = {-0.0,
                        0.0005,
                        0.00049999999999999994,
                        std::nextafter(1.0, 2.0),
                        2251799813685248.0 * 0.001,
                        -2251799813685248.0 * 0.001,
                        9007199254740992.0 * 0.001,
                        1e300,
                        std::numeric_limits<double>::infinity(),
                        -std::numeric_limits<double>::infinity(),
                        std::numeric_limits<double>::quiet_NaN(),
                        std::numeric_limits<double>::denorm_min()};
  for (const auto& signal : {on_a_grid(0.001, 0.0), on_a_grid(0.001, -3.7), on_a_grid(1e-300, 0.0)})
    for (const double value : odd) {
      std::vector<double> values;
      for (int i = 0; i < 50; ++i) values.push_back(signal.resolution * i + signal.resolution_offset);
      values[20] = value;
      size_in_block(values, signal);
      size_in_block({value, signal.resolution}, signal);
    }
}
