#include "drivers/link/memory_link.hpp"

#include <algorithm>
#include <array>
#include <boost/circular_buffer.hpp>
#include <cerrno>
#include <cstring>
#include <optional>
#include <random>
#include <utility>

#include "drivers/link/byte_ring.hpp"

namespace trackrod {
namespace {

struct Packet {
  BenchTime starts{};   // its first byte goes onto the wire
  BenchTime arrives{};  // its last byte is there
  std::size_t from{0}, size{0};
  std::span<std::byte> bytes;
  std::uint64_t bytes_end{0};  // in the lane's ring
};
constexpr std::size_t packets_under_way = 256;
constexpr std::size_t bytes_under_way = std::size_t{1} << 17;
constexpr std::size_t longest_piece = 1500;  // of a stream

// One direction of the wire.
struct Lane {
  explicit Lane(const WirePath& p, std::uint64_t seed)
      : path{p}, random{seed}, packets{packets_under_way}, bytes{bytes_under_way} {}

  // For the bytes of one packet more; empty when the wire is full.
  std::span<std::byte> room_for(std::size_t size) noexcept {
    if (packets.empty()) bytes.free(bytes.end());
    return packets.full() ? std::span<std::byte>{} : bytes.reserve(size);
  }
  void pop_front() noexcept {
    bytes.free(packets.front().bytes_end);
    packets.pop_front();
  }
  double chance() noexcept { return static_cast<double>(random() >> 11) * 0x1p-53; }

  WirePath path;
  std::mt19937_64 random;
  boost::circular_buffer<Packet> packets;
  ByteRing bytes;
  BenchTime free_from{};  // the wire has no earlier byte left to carry
  BenchTime last_arrival{};
  BenchTime sender_now{};               // of the sender's latest call
  std::optional<BenchTime> last_empty;  // of the receiver's latest read that found nothing more
};

}  // namespace

struct MemoryWire::State {
  State(const WireModel& m, std::uint64_t seed, std::string n)
      : model{m}, name{std::move(n)}, outward{m.outward, 2 * seed}, inward{m.inward, 2 * seed + 1} {}

  WireModel model;
  std::string name;
  Lane outward, inward;
  LinkCounters bench, far;
  bool cut{false};
};

namespace {

class MemoryLink final : public Link {
 public:
  MemoryLink(std::shared_ptr<MemoryWire::State> wire, bool bench_side)
      : wire_{std::move(wire)},
        out_{bench_side ? wire_->outward : wire_->inward},
        in_{bench_side ? wire_->inward : wire_->outward},
        mine_{bench_side ? wire_->bench : wire_->far},
        theirs_{bench_side ? wire_->far : wire_->bench},
        side_{bench_side ? "bench end" : "far end"} {}

  int descriptor() const noexcept override { return -1; }
  Received receive(std::span<std::byte> into, BenchTime now) noexcept override;
  SendResult send(std::span<const std::byte> bytes, BenchTime now) noexcept override;
  void drop_queued_output() noexcept override;
  const LinkCounters& counters() const noexcept override { return mine_; }
  std::string describe() const override { return "memory " + wire_->name + " (" + side_ + ")"; }

 private:
  bool stream() const noexcept { return wire_->model.mode == WireModel::Mode::stream; }
  Received receive_datagram(std::span<std::byte> into, BenchTime now) noexcept;
  Received receive_stream(std::span<std::byte> into, BenchTime now) noexcept;
  void put_on_wire(std::span<const std::byte> bytes, std::span<std::byte> room, BenchTime now) noexcept;

  std::shared_ptr<MemoryWire::State> wire_;
  Lane& out_;
  Lane& in_;
  LinkCounters& mine_;
  LinkCounters& theirs_;
  const char* side_;
};

Received MemoryLink::receive(std::span<std::byte> into, BenchTime now) noexcept {
  if (wire_->cut) return {Received::State::lost, 0, {}, 0};
  const auto got = stream() ? receive_stream(into, now) : receive_datagram(into, now);
  if (got.state == Received::State::bytes) {
    ++mine_.received;
    mine_.received_bytes += got.size;
  }
  return got;
}

Received MemoryLink::receive_datagram(std::span<std::byte> into, BenchTime now) noexcept {
  while (!in_.packets.empty() && in_.packets.front().arrives <= now) {
    const Packet& packet = in_.packets.front();
    const Stamp stamp{packet.arrives, StampedBy::kernel, wire_->model.stamp_uncertainty};
    const Received got{Received::State::bytes, packet.size, stamp, 0};
    const bool fits = packet.size > 0 && packet.size <= into.size();
    if (fits) std::memcpy(into.data(), packet.bytes.data(), packet.size);
    in_.pop_front();
    if (fits) return got;
    ++mine_.oversized;
  }
  return {};
}

Received MemoryLink::receive_stream(std::span<std::byte> into, BenchTime now) noexcept {
  std::size_t size = 0;
  std::optional<BenchTime> oldest;
  while (size < into.size() && !in_.packets.empty() && in_.packets.front().arrives <= now) {
    Packet& packet = in_.packets.front();
    if (!oldest) oldest = packet.arrives;
    const auto part = std::min(packet.size - packet.from, into.size() - size);
    std::memcpy(into.data() + size, packet.bytes.data() + packet.from, part);
    size += part;
    packet.from += part;
    if (packet.from == packet.size) in_.pop_front();
  }
  const auto since = in_.last_empty.value_or(oldest.value_or(now));
  if (size < into.size()) in_.last_empty = now;
  if (size == 0) return {};
  return {Received::State::bytes, size, {now, StampedBy::harness, now - since}, 0};
}

SendResult MemoryLink::send(std::span<const std::byte> bytes, BenchTime now) noexcept {
  out_.sender_now = now;
  const bool too_long = !stream() && bytes.size() > longest_message;
  if (wire_->cut || too_long) {
    ++mine_.send_failures;
    return {SendState::lost, 0, too_long ? EMSGSIZE : EIO};
  }
  std::size_t taken = 0;
  do {
    const auto part = stream() ? bytes.subspan(taken, std::min(bytes.size() - taken, longest_piece)) : bytes;
    const auto room = out_.room_for(std::max<std::size_t>(part.size(), 1));
    if (room.empty()) {
      if (stream()) break;
      ++theirs_.dropped_by_kernel;
      taken = bytes.size();
      break;
    }
    put_on_wire(part, room, now);
    taken += part.size();
  } while (taken < bytes.size());
  mine_.sent_bytes += taken;
  if (taken < bytes.size()) return {SendState::would_block, taken, 0};
  ++mine_.sent;
  return {SendState::sent, taken, 0};
}

void MemoryLink::put_on_wire(std::span<const std::byte> bytes, std::span<std::byte> room, BenchTime now) noexcept {
  const auto& path = out_.path;
  // Drawn for every packet, lost or not, so that one loss does not change the fate of all that follows.
  const double late = out_.chance(), fate = out_.chance();
  const auto starts = std::max(now, out_.free_from);
  out_.free_from =
      starts + wire_->model.message_time + wire_->model.byte_time * static_cast<Duration::rep>(bytes.size());
  const auto jitter = Duration{static_cast<Duration::rep>(late * static_cast<double>(path.jitter.count()))};
  out_.last_arrival = std::max(out_.last_arrival, out_.free_from + path.delay + jitter);
  if (!stream() && fate < path.loss) return;

  out_.packets.push_back();
  Packet& packet = out_.packets.back();
  packet.starts = starts;
  packet.arrives = out_.last_arrival;
  packet.from = packet.size = 0;
  packet.bytes = room;
  for (const auto b : bytes)
    if (!stream() || path.loss <= 0.0 || out_.chance() >= path.loss) packet.bytes[packet.size++] = b;
  packet.bytes_end = out_.bytes.keep(packet.size);
  if (stream() && packet.size == 0) out_.packets.pop_back();
}

void MemoryLink::drop_queued_output() noexcept {
  if (!stream()) return;
  while (!out_.packets.empty() && out_.free_from > out_.sender_now) {
    Packet& last = out_.packets.back();
    out_.free_from = std::max(last.starts, out_.sender_now);
    if (last.starts >= out_.sender_now) {
      out_.packets.pop_back();
      continue;
    }
    // Partly on its way: what has left stays, cut off in the middle of a message.
    const auto left = (out_.sender_now - last.starts) / wire_->model.byte_time;
    last.size = std::min(last.size, static_cast<std::size_t>(left));
  }
}

}  // namespace

MemoryWire::MemoryWire(const WireModel& model, std::uint64_t seed, std::string name)
    : state_{std::make_shared<State>(model, seed, std::move(name))} {}

std::unique_ptr<Link> MemoryWire::bench_end() const { return std::make_unique<MemoryLink>(state_, true); }
std::unique_ptr<Link> MemoryWire::far_end() const { return std::make_unique<MemoryLink>(state_, false); }

void MemoryWire::cut() noexcept {
  state_->cut = true;
  state_->outward.packets.clear();
  state_->inward.packets.clear();
}

}  // namespace trackrod
