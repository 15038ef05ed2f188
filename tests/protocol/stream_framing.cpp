#include "drivers/protocol/stream_framing.hpp"

#include <random>

#include "tests/protocol/allocations.hpp"
#include "tests/protocol/wire.hpp"

using namespace trackrod;
using namespace trackrod::testing;
using namespace std::chrono_literals;

namespace {

constexpr std::size_t longest = 40;
constexpr int marker = 0xA5;

// A message of the tests: marker, whole length, a number, filling, and their sum in the last byte. It holds neither
// 0x0D nor 0x0A, so that it may stand before a delimiter.
Bytes message(int number, std::size_t size) {
  Bytes b(size, static_cast<std::byte>(0x77));
  b[0] = static_cast<std::byte>(marker);
  b[1] = static_cast<std::byte>(0x40 + size);
  b[2] = static_cast<std::byte>(0x10 + number % 200);
  int sum = 0;
  for (std::size_t i = 0; i + 1 < size; ++i) sum += std::to_integer<int>(b[i]);
  b[size - 1] = static_cast<std::byte>(0x10 + sum % 200);
  return b;
}
bool is_message(std::span<const std::byte> b) {
  return b.size() >= 4 && copy(b) == message(std::to_integer<int>(b[2]) - 0x10, b.size());
}

struct Numbers final : MessageSink {
  bool message(std::span<const std::byte> bytes, Stamp stamp) noexcept override {
    ++offered;
    if (bytes.size() < 4 || !is_message(bytes)) return false;
    if (good < of.size()) of[good] = std::to_integer<int>(bytes[2]) - 0x10;
    ++good;
    last = stamp;
    return true;
  }
  void garbage() noexcept override { ++runs; }
  std::vector<int> taken() const { return {of.begin(), of.begin() + static_cast<std::ptrdiff_t>(good)}; }

  std::array<int, 2000> of{};
  std::size_t good{0}, offered{0}, runs{0};
  Stamp last;
};

const Framing by_length = LengthFraming{{static_cast<std::byte>(marker)}, 1, 1, ByteOrder::little, -0x40};
const Framing by_delimiter = DelimiterFraming{bytes({0x0D, 0x0A})};
const Framing by_gap = IdleGapFraming{3ms, 0ms};

// One message after the other as they go over the wire: what stands between them, and when each comes.
struct Wire {
  Bytes all;
  std::vector<Duration> when;  // of each byte

  void add(const Bytes& b, Duration at_time) {
    all.insert(all.end(), b.begin(), b.end());
    when.resize(all.size(), at_time);
  }
};

Wire wire_of(const Framing& framing, const std::vector<int>& sizes, const Bytes& before = {}) {
  Wire w;
  w.add(before, 0ms);
  Duration t = 0ms;
  for (std::size_t i = 0; i < sizes.size(); ++i, t += 5ms) {
    w.add(message(static_cast<int>(i), static_cast<std::size_t>(sizes[i])), t);
    if (const auto* d = std::get_if<DelimiterFraming>(&framing)) w.add(d->delimiter, t);
  }
  return w;
}

// Hands the wire over in pieces of random sizes, none across a change of time.
std::vector<int> through(const Framing& framing, const Wire& wire, std::mt19937& random) {
  StreamFramer framer{framing, longest};
  Numbers sink;
  for (std::size_t at_byte = 0; at_byte < wire.all.size();) {
    auto size = std::uniform_int_distribution<std::size_t>{1, 60}(random);
    size = std::min(size, wire.all.size() - at_byte);
    const auto now = wire.when[at_byte];
    while (wire.when[at_byte + size - 1] != now) --size;
    framer.quiet(at(now), sink);
    framer.take(std::span{wire.all}.subspan(at_byte, size), stamp(now), sink);
    at_byte += size;
  }
  framer.quiet(at(10s), sink);
  return sink.taken();
}

std::vector<int> counted(std::size_t from, std::size_t to) {
  std::vector<int> all;
  for (auto i = from; i < to; ++i) all.push_back(static_cast<int>(i));
  return all;
}

std::vector<int> random_sizes(std::mt19937& random, std::size_t count) {
  std::vector<int> sizes(count);
  for (auto& s : sizes) s = std::uniform_int_distribution<int>{4, longest}(random);
  return sizes;
}

}  // namespace

TEST_CASE("messages are found in a stream, however it is cut into pieces") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937 random{seed};
  for (const auto& framing : {by_length, by_delimiter, by_gap}) {
    CAPTURE(framing.index());
    const auto wire = wire_of(framing, random_sizes(random, 60));
    for (int i = 0; i < 50; ++i) REQUIRE(through(framing, wire, random) == counted(0, 60));
  }
}

TEST_CASE("any garbage in front costs at most one good message") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937 random{seed};
  for (const auto& framing : {by_length, by_delimiter, by_gap}) {
    CAPTURE(framing.index());
    for (int i = 0; i < 1000; ++i) {
      Bytes garbage(std::uniform_int_distribution<std::size_t>{0, 100}(random));
      for (auto& b : garbage) {  // mostly what looks like a beginning, a length or an end
        constexpr std::array likely{marker, 0x40 + 5, 0x40 + static_cast<int>(longest), 0x0D, 0x0A, 0};
        const auto pick = std::uniform_int_distribution<std::size_t>{0, likely.size()}(random);
        b = static_cast<std::byte>(pick < likely.size() ? likely[pick] : static_cast<int>(random() % 256));
      }
      auto sizes = random_sizes(random, 20);
      const auto wire = wire_of(framing, sizes, garbage);
      auto taken = through(framing, wire, random);
      // With a length, messages at the very end may wait behind a false beginning for the bytes that it promises.
      const auto sound = std::holds_alternative<LengthFraming>(framing) ? counted(0, 8) : counted(1, 20);
      REQUIRE(std::search(taken.begin(), taken.end(), sound.begin(), sound.end()) != taken.end());
    }
  }
}

TEST_CASE("a damaged message costs no other") {
  for (const auto& framing : {by_length, by_delimiter, by_gap}) {
    CAPTURE(framing.index());
    std::mt19937 random{1};
    const auto whole = wire_of(framing, std::vector<int>(12, 16));
    for (std::size_t bit = 0; bit < 16 * 8; ++bit) {
      auto wire = whole;
      const auto place = wire.all.size() / 12 * 3;  // the fourth message
      wire.all[place + bit / 8] ^= static_cast<std::byte>(1U << bit % 8);
      const auto taken = through(framing, wire, random);
      CAPTURE(bit, taken);
      REQUIRE(taken.size() >= 10);  // a damaged byte may end a message in two: both halves are rejected
      CHECK(std::vector<int>(taken.end() - 8, taken.end()) == counted(4, 12));
    }
  }
}

TEST_CASE("an idle gap counts only when it is certain, and silence hands a message over without another") {
  StreamFramer framer{by_gap, longest};
  Numbers sink;
  const auto all = message(0, 20);
  const auto first = std::span{all}.first(8), rest = std::span{all}.subspan(8);
  const auto piece = [](Duration when, Duration uncertainty) {
    return Stamp{at(when), StampedBy::harness, uncertainty};
  };
  framer.take(first, piece(10ms, 1ms), sink);
  framer.take(rest, piece(14ms, 2ms), sink);  // read 4 ms later, but perhaps there 2 ms after the first
  framer.quiet(at(16ms), sink);
  CHECK(sink.good == 0);
  framer.quiet(at(17ms), sink);
  CHECK(sink.good == 1);
  CHECK(sink.last.when == at(14ms));
  framer.quiet(at(30ms), sink);
  CHECK(sink.offered == 1);

  framer.take(first, piece(40ms, 1ms), sink);
  framer.take(rest, piece(44ms, 1ms), sink);  // 3 ms of silence for certain
  framer.quiet(at(60ms), sink);
  CHECK(sink.good == 1);
  CHECK(sink.offered == 3);  // two pieces, neither a message
}

TEST_CASE("lengths of two bytes are read in their order, and impossible ones begin no message") {
  for (const auto order : {ByteOrder::little, ByteOrder::big}) {
    StreamFramer framer{LengthFraming{{}, 0, 2, order, 2}, longest};
    struct Sizes final : MessageSink {
      bool message(std::span<const std::byte> b, Stamp) noexcept override { return size = b.size(), true; }
      void garbage() noexcept override { ++runs; }
      std::size_t size{0}, runs{0};
    } sink;
    const bool big = order == ByteOrder::big;
    Bytes b(12);
    b[big ? 1 : 0] = std::byte{10};
    framer.take(b, stamp(1ms), sink);
    CHECK(sink.size == 12);
    sink.size = 0;
    framer.take(bytes({0xFF, 0xFF}), stamp(1ms), sink);
    CHECK(sink.size == 0);
    CHECK(sink.runs == 1);
  }
}

TEST_CASE("a storm of bytes is looked at a bounded number of times, told once, and allocates nothing") {
  for (const auto& framing : {by_length, by_delimiter, by_gap}) {
    CAPTURE(framing.index());
    for (const int filling : {marker, 0x40 + 5, 0x0D, 0, 0xFF}) {
      StreamFramer framer{framing, longest};
      Numbers sink;
      const Bytes storm(100'000, static_cast<std::byte>(filling));
      const auto before = allocations();
      framer.take(storm, stamp(1ms), sink);
      framer.quiet(at(1s), sink);
      const auto made = allocations() - before;
      CHECK(made == 0);
      CHECK(sink.good == 0);
      CHECK(sink.offered <= storm.size());
      CHECK(sink.runs <= 1);
      framer.take(bytes({0x0D, 0x0A}), stamp(2s), sink);
      for (int i = 0; i < 5; ++i) {
        auto next = message(i, 10);
        if (std::holds_alternative<DelimiterFraming>(framing))
          next.insert(next.end(), {std::byte{0x0D}, std::byte{0x0A}});
        framer.take(next, stamp(3s + 10ms * i), sink);
        framer.quiet(at(3s + 10ms * i + 5ms), sink);
      }
      CHECK(sink.good >= 1);
    }
  }
}
