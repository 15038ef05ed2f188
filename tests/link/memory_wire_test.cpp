#include <random>
#include <set>

#include "drivers/link/link.hpp"
#include "drivers/link/memory_link.hpp"
#include "drivers/link/reader.hpp"
#include "drivers/link/serial_port.hpp"
#include "tests/link/wire_help.hpp"

using namespace trackrod;
using namespace std::chrono_literals;

namespace {

constexpr BenchTime t0{100s};

WireModel datagrams(WirePath path) { return {WireModel::Mode::datagrams, path, path, 0ns, 50us}; }
WireModel stream(WirePath path, Duration byte_time) { return {WireModel::Mode::stream, path, path, byte_time, 0ns}; }

std::uint64_t fresh_seed() { return std::random_device{}(); }

// Sends one numbered datagram a millisecond; gives when each came, in order, as seen by asking each 10 us.
std::vector<std::pair<std::string, BenchTime>> arrivals(const WireModel& model, std::uint64_t seed, int count) {
  const MemoryWire wire{model, seed, "test"};
  const auto bench = wire.bench_end();
  const auto far = wire.far_end();
  std::vector<std::pair<std::string, BenchTime>> came;
  std::array<std::byte, 1500> buffer{};
  for (auto t = t0; t < t0 + (count + 100) * 1ms; t += 10us) {
    const auto number = (t - t0) / 1ms;
    if ((t - t0) % 1ms == 0ns && number < count) bench->send(bytes_of(std::to_string(number)), t);
    for (;;) {
      const auto got = far->receive(buffer, t);
      if (got.state != Received::State::bytes) break;
      CHECK(got.stamp.when <= t);
      came.emplace_back(text_of(std::span{buffer}.first(got.size)), got.stamp.when);
    }
  }
  return came;
}

}  // namespace

TEST_CASE("a datagram is there after the modelled delay and not before, with the modelled stamp") {
  const MemoryWire wire{datagrams({300us, 0ns, 0.0}), 1, "test"};
  const auto bench = wire.bench_end();
  const auto far = wire.far_end();
  std::array<std::byte, 1500> buffer{};
  CHECK(far->send(bytes_of("hello"), t0).state == SendState::sent);
  CHECK(bench->receive(buffer, t0 + 300us - 1ns).state == Received::State::nothing);
  const auto got = bench->receive(buffer, t0 + 2ms);
  REQUIRE(got.state == Received::State::bytes);
  CHECK(text_of(std::span{buffer}.first(got.size)) == "hello");
  CHECK(got.stamp.when == t0 + 300us);
  CHECK(got.stamp.by == StampedBy::kernel);
  CHECK(got.stamp.uncertainty == 50us);
  CHECK(bench->receive(buffer, t0 + 1s).state == Received::State::nothing);
  CHECK(bench->descriptor() == -1);
}

TEST_CASE("the two directions have their own delays") {
  const WireModel uneven{WireModel::Mode::datagrams, {100us, 0ns, 0.0}, {900us, 0ns, 0.0}, 0ns, 0ns};
  const MemoryWire wire{uneven, 1, "test"};
  const auto bench = wire.bench_end();
  const auto far = wire.far_end();
  std::array<std::byte, 1500> buffer{};
  bench->send(bytes_of("out"), t0);
  far->send(bytes_of("in"), t0);
  CHECK(far->receive(buffer, t0 + 1s).stamp.when == t0 + 100us);
  CHECK(bench->receive(buffer, t0 + 1s).stamp.when == t0 + 900us);
}

TEST_CASE("jitter stays within its bound, keeps the order, and repeats with the seed") {
  const auto seed = fresh_seed();
  CAPTURE(seed);
  const auto model = datagrams({200us, 3ms, 0.0});
  const auto first = arrivals(model, seed, 2000);
  REQUIRE(first.size() == 2000);
  std::set<Duration> seen;
  for (std::size_t i = 0; i < first.size(); ++i) {
    CHECK(first[i].first == std::to_string(i));
    const auto delay = first[i].second - (t0 + static_cast<int>(i) * 1ms);
    CHECK(delay >= 200us);
    CHECK(delay <= 3200us);
    seen.insert(delay);
  }
  CHECK(*seen.begin() < 500us);  // 2000 draws from a uniform law miss either tenth with a chance below 1e-90
  CHECK(*seen.rbegin() > 2900us);
  CHECK(arrivals(model, seed, 2000) == first);
  CHECK(arrivals(model, seed + 1, 2000) != first);
}

TEST_CASE("the share of lost datagrams follows the binomial law") {
  const auto seed = fresh_seed();
  CAPTURE(seed);
  constexpr int n = 20000;
  constexpr double p = 0.1;
  const auto came = arrivals(datagrams({100us, 50us, p}), seed, n).size();
  // Mean n(1-p), standard deviation sqrt(n p (1-p)) = 42.4; six of them fail once in 5e8 seeds.
  CHECK(std::abs(static_cast<double>(came) - n * (1.0 - p)) < 6.0 * 42.43);
}

TEST_CASE("a stream takes its time on the wire: ten bits a byte at 115200 baud") {
  SerialSettings line;
  line.baud = 115200;
  const MemoryWire wire{stream({0ns, 0ns, 0.0}, line.byte_time()), 1, "test"};
  const auto bench = wire.bench_end();
  const auto far = wire.far_end();
  std::array<std::byte, 1500> buffer{};
  REQUIRE(bench->send(bytes_of(std::string(1152, 'x')), t0).state == SendState::sent);
  // 1152 bytes * 10 bits / 115200 baud = 0.1 s, less the rounding of the byte's time to whole nanoseconds.
  CHECK(far->receive(buffer, t0 + 100ms - 2us).state == Received::State::nothing);
  const auto got = far->receive(buffer, t0 + 100ms);
  CHECK(got.size == 1152);
  CHECK(got.stamp.by == StampedBy::harness);
  CHECK(got.stamp.when == t0 + 100ms);
  CHECK(got.stamp.uncertainty == 2us);  // it was not there at the look before
}

TEST_CASE("a stream joins messages and can be read in pieces") {
  const MemoryWire wire{stream({100us, 0ns, 0.0}, 0ns), 1, "test"};
  const auto bench = wire.bench_end();
  const auto far = wire.far_end();
  std::array<std::byte, 4> four{};
  std::array<std::byte, 1500> buffer{};
  CHECK(far->receive(buffer, t0).state == Received::State::nothing);
  bench->send(bytes_of("abc"), t0);
  bench->send(bytes_of("defgh"), t0);
  CHECK(far->receive(four, t0 + 1ms).size == 4);
  CHECK(text_of(four) == "abcd");
  const auto rest = far->receive(buffer, t0 + 2ms);
  CHECK(text_of(std::span{buffer}.first(rest.size)) == "efgh");
  CHECK(rest.stamp.uncertainty == 2ms);  // the first read left something behind: nothing was learnt of its age
}

TEST_CASE("a stream loses single bytes, each with its own chance") {
  const auto seed = fresh_seed();
  CAPTURE(seed);
  const MemoryWire wire{stream({0ns, 0ns, 0.1}, 0ns), seed, "test"};
  const auto bench = wire.bench_end();
  const auto far = wire.far_end();
  std::array<std::byte, 1500> buffer{};
  std::size_t came = 0;
  constexpr int n = 20000;
  for (int i = 0; i < n / 100; ++i) {
    bench->send(bytes_of(std::string(100, 'x')), t0 + i * 1ms);
    came += far->receive(buffer, t0 + i * 1ms).size;
  }
  CHECK(std::abs(static_cast<double>(came) - 0.9 * n) < 6.0 * 42.43);  // binomial, as above
}

TEST_CASE("a full wire blocks a stream, and drops and counts datagrams") {
  std::array<std::byte, 1500> buffer{};
  const MemoryWire line{stream({1s, 0ns, 0.0}, 0ns), 1, "line"};
  const auto bench = line.bench_end();
  std::size_t taken = 0;
  SendResult result;
  do {
    result = bench->send(bytes_of(std::string(100, 'x')), t0);
    taken += result.taken;
  } while (result.state == SendState::sent && taken < 10'000'000);
  CHECK(result.state == SendState::would_block);
  std::size_t came = 0;
  for (auto got = line.far_end()->receive(buffer, t0 + 2s); got.size > 0;
       got = line.far_end()->receive(buffer, t0 + 2s))
    came += got.size;
  CHECK(came == taken);

  const MemoryWire net{datagrams({1s, 0ns, 0.0}), 1, "net"};
  for (int i = 0; i < 300; ++i) CHECK(net.bench_end()->send(bytes_of("x"), t0).state == SendState::sent);
  const auto far = net.far_end();
  std::uint64_t datagrams_came = 0;
  while (far->receive(buffer, t0 + 2s).state == Received::State::bytes) ++datagrams_came;
  CHECK(datagrams_came + far->counters().dropped_by_kernel == 300);
  CHECK(far->counters().dropped_by_kernel > 0);
}

TEST_CASE("dropping the output of a stream cuts it where the wire is") {
  const MemoryWire wire{stream({0ns, 0ns, 0.0}, 1ms), 1, "test"};
  const auto bench = wire.bench_end();
  const auto far = wire.far_end();
  std::array<std::byte, 1500> buffer{};
  bench->send(bytes_of("VOLT 13.5\n"), t0);  // ten milliseconds on the wire
  bench->send(bytes_of("CURR 2\n"), t0);
  CHECK(bench->receive(buffer, t0).state == Received::State::nothing);
  bench->send(bytes_of(""), t0 + 4ms);  // four bytes have left
  bench->drop_queued_output();
  bench->send(bytes_of("\n"), t0 + 4ms);
  const auto got = far->receive(buffer, t0 + 1s);
  CHECK(text_of(std::span{buffer}.first(got.size)) == "VOLT\n");
}

TEST_CASE("a wire that is cut is lost at both ends") {
  MemoryWire wire{datagrams({0ns, 0ns, 0.0}), 1, "test"};
  const auto bench = wire.bench_end();
  const auto far = wire.far_end();
  std::array<std::byte, 1500> buffer{};
  far->send(bytes_of("under way"), t0);
  wire.cut();
  CHECK(bench->receive(buffer, t0 + 1s).state == Received::State::lost);
  CHECK(far->receive(buffer, t0 + 1s).state == Received::State::lost);
  CHECK(bench->send(bytes_of("x"), t0 + 1s).state == SendState::lost);
  CHECK(bench->counters().send_failures == 1);
}

TEST_CASE("each kind of link models its own wire") {
  SerialSettings line;
  line.baud = 9600;
  line.parity = Parity::even;
  const auto serial = link_kind("serial").model(line);
  CHECK(serial.mode == WireModel::Mode::stream);
  CHECK(serial.byte_time == Duration{1'000'000'000LL * 11 / 9600});  // start, eight bits, parity, stop
}

TEST_CASE("the longest message of ISO-TP passes whole, many a time, and a longer one is refused") {
  const MemoryWire wire{datagrams({}), 1, "test"};
  const auto bench = wire.bench_end();
  const auto far = wire.far_end();
  Reader reader{{bench.get()}};
  auto t = t0;
  for (std::size_t round = 0; round < 300; ++round, t += 1ms) {
    CAPTURE(round);
    std::vector<std::byte> sent(round % 2 == 0 ? longest_message : 1 + round * 13);
    for (std::size_t i = 0; i < sent.size(); ++i) sent[i] = static_cast<std::byte>(i * 7 + round);
    REQUIRE(far->send(sent, t).state == SendState::sent);
    reader.poll_inline(t);
    std::vector<std::byte> came;
    reader.consume([&](const Arrival& arrival) { came.assign(arrival.data().begin(), arrival.data().end()); });
    REQUIRE(came == sent);
  }
  CHECK(reader.dropped() == 0);
  const std::vector<std::byte> longer(longest_message + 1);
  CHECK(far->send(longer, t).state == SendState::lost);
}

TEST_CASE("a reader without room for the bytes drops whole messages and goes on when there is room") {
  const MemoryWire wire{datagrams({}), 1, "test"};
  const auto bench = wire.bench_end();
  const auto far = wire.far_end();
  Reader reader{{bench.get()}, 8};  // eight arrivals, and four times the longest message
  const std::vector<std::byte> longest(longest_message, std::byte{7});
  for (int i = 0; i < 6; ++i) far->send(longest, t0);
  reader.poll_inline(t0 + 1ms);
  CHECK(reader.dropped() == 2);
  std::size_t kept = 0;
  const auto take = [&](const Arrival& arrival) { kept += arrival.data().size() == longest_message ? 1 : 0; };
  reader.consume(take);
  CHECK(kept == 4);
  far->send(longest, t0 + 2ms);
  reader.poll_inline(t0 + 3ms);
  reader.consume(take);
  CHECK(kept == 5);
}
