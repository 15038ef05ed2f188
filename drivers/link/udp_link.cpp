#include "drivers/link/udp_link.hpp"

#include <sys/socket.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstring>
#include <utility>

namespace trackrod {
namespace {

using namespace std::chrono_literals;

// Reports of the peer's machine or of the network about an earlier datagram: silence follows, which the device's
// timeout watches. The socket itself is sound.
bool is_report(int error) {
  return error == ECONNREFUSED || error == EHOSTUNREACH || error == ENETUNREACH || error == EHOSTDOWN ||
         error == ENOPROTOOPT || error == EPROTO || error == EACCES || error == ENETDOWN;
}

// What one short datagram costs of the buffer that the kernel reports (measured, as in the page on links).
constexpr int kernel_bytes_a_datagram = 832;

}  // namespace

Result<std::unique_ptr<UdpLink>> UdpLink::open(const UdpSettings& settings) {
  auto socket = open_udp_socket(settings);
  if (!socket) return tl::unexpected<Error>{std::move(socket.error())};
  return std::unique_ptr<UdpLink>{new UdpLink{settings, *socket}};
}

std::unique_ptr<UdpLink> UdpLink::adopt(const UdpSettings& settings, int descriptor) {
  auto link = std::unique_ptr<UdpLink>{new UdpLink{settings, descriptor}};
  link->drop_input();
  return link;
}

UdpLink::UdpLink(const UdpSettings& settings, int socket)
    : settings_{settings},
      socket_{socket},
      peer_{settings.peer.socket_address()},
      sender_{settings.sender().socket_address()},
      card_{settings.hears_many() ? card_with(settings.local.address) : NetworkCard{}},
      batch_{std::make_unique<UdpBatch>()},
      last_empty_{SteadyTime{}.now()} {}

UdpLink::~UdpLink() { close(socket_); }

Endpoint UdpLink::local() const noexcept {
  sockaddr_in here{};
  socklen_t length = sizeof here;
  getsockname(socket_, reinterpret_cast<sockaddr*>(&here), &length);
  return {settings_.local.address, Endpoint::of(here).port};
}

std::string UdpLink::describe() const {
  auto text = "udp " + local().text() + " <- " + settings_.sender().text();
  if (settings_.sender() != settings_.peer) text += ", -> " + settings_.peer.text();
  return text;
}

std::string UdpLink::remark() const {
  const auto size = udp_buffer_size(socket_);
  if (size >= settings_.receive_buffer) return "";
  return describe() + ": the system gives a receive buffer of " + std::to_string(size) + " bytes, not " +
         std::to_string(settings_.receive_buffer) + "; more than about " +
         std::to_string(2 * size / kernel_bytes_a_datagram) +
         " waiting datagrams are lost; raise it: sudo sysctl net.core.rmem_max=" +
         std::to_string(settings_.receive_buffer);
}

Received UdpLink::receive(std::span<std::byte> into, BenchTime now) noexcept {
  constexpr int tries = 64;  // a flood from elsewhere must not hold the caller
  for (int i = 0; i < tries; ++i) {
    if (next_ < in_batch_) {
      const auto got = hand_out(next_++, into);
      if (got.state == Received::State::bytes) return got;
    } else if (std::exchange(emptied_, false)) {
      return {};
    } else if (!read_batch(now)) {
      if (errno == EAGAIN) {
        if (take_refusals()) continue;
        last_empty_ = now;
        return {};
      }
      if (errno != EINTR && !is_report(errno)) return {Received::State::lost, 0, {}, errno};
    }
  }
  return {};
}

// False with errno set when there was nothing.
bool UdpLink::read_batch(BenchTime now) noexcept {
  next_ = 0;
  in_batch_ = std::max(0, batch_->read(socket_));
  if (in_batch_ == 0) return false;
  const auto pair = read_clock_pair();
  for (int i = 0; i < in_batch_; ++i) {
    const auto datagram = (*batch_)[i];
    stamps_[static_cast<std::size_t>(i)] = map_kernel_stamp(datagram.words.wall, pair, last_empty_);
    if (datagram.words.drops)  // wraps as the kernel's counter does
      counters_.dropped_by_kernel += *datagram.words.drops - std::exchange(kernel_drops_, *datagram.words.drops);
  }
  emptied_ = in_batch_ < UdpBatch::room;
  if (emptied_) last_empty_ = now;
  return true;
}

// `nothing` when it is not for us.
Received UdpLink::hand_out(int i, std::span<std::byte> into) noexcept {
  const auto datagram = (*batch_)[i];
  if (!is_for_us(datagram)) {
    ++counters_.foreign;
    return {};
  }
  const auto size = datagram.bytes.size();
  if (size == 0 || size > into.size() || datagram.too_long) {
    ++counters_.oversized;
    return {};
  }
  std::memcpy(into.data(), datagram.bytes.data(), size);
  ++counters_.received;
  counters_.received_bytes += size;
  const auto& [stamp, replaced] = stamps_[static_cast<std::size_t>(i)];
  if (replaced) ++counters_.stamps_replaced;
  return {Received::State::bytes, size, stamp, 0};
}

bool UdpLink::is_for_us(const UdpBatch::Datagram& datagram) const noexcept {
  if (datagram.from.sin_addr.s_addr != sender_.sin_addr.s_addr || datagram.from.sin_port != sender_.sin_port)
    return false;
  if (!settings_.hears_many() || datagram.words.to == settings_.local.address) return true;
  const bool to_all = datagram.words.to == card_.broadcast || datagram.words.to == INADDR_BROADCAST;
  return datagram.words.card == card_.index &&
         (datagram.words.to == settings_.group || (settings_.broadcast && to_all));
}

// Takes the reports that wait in the socket's error queue: they would wake poll() for ever. True when there was one.
bool UdpLink::take_refusals() noexcept {
  bool any = false;
  for (;;) {
    std::array<std::byte, 64> offender;
    alignas(cmsghdr) std::array<std::byte, 256> control;
    iovec data{offender.data(), offender.size()};
    msghdr message{};
    message.msg_iov = &data;
    message.msg_iovlen = 1;
    message.msg_control = control.data();
    message.msg_controllen = control.size();
    if (recvmsg(socket_, &message, MSG_ERRQUEUE | MSG_DONTWAIT) < 0) return any;
    ++counters_.refused;
    any = true;
  }
}

SendResult UdpLink::send(std::span<const std::byte> bytes, BenchTime) noexcept {
  iovec data{const_cast<std::byte*>(bytes.data()), bytes.size()};
  msghdr message{};
  message.msg_name = &peer_;
  message.msg_namelen = sizeof peer_;
  message.msg_iov = &data;
  message.msg_iovlen = 1;
  // A socket without an address of its own says of each message by which card it goes.
  alignas(cmsghdr) std::array<std::byte, CMSG_SPACE(sizeof(in_pktinfo))> control{};
  if (settings_.hears_many()) {
    message.msg_control = control.data();
    message.msg_controllen = control.size();
    auto* c = CMSG_FIRSTHDR(&message);
    c->cmsg_level = IPPROTO_IP;
    c->cmsg_type = IP_PKTINFO;
    c->cmsg_len = CMSG_LEN(sizeof(in_pktinfo));
    in_pktinfo by{};
    by.ipi_ifindex = card_.index;
    by.ipi_spec_dst.s_addr = htonl(settings_.local.address);
    std::memcpy(CMSG_DATA(c), &by, sizeof by);
  }
  // An error of a datagram before this one is handed out once, in place of sending: hence the second and third try.
  constexpr int tries = 3;
  int error = 0;
  for (int i = 0; i < tries; ++i) {
    if (sendmsg(socket_, &message, MSG_DONTWAIT | MSG_NOSIGNAL) >= 0) {
      ++counters_.sent;
      counters_.sent_bytes += bytes.size();
      return {SendState::sent, bytes.size(), 0};
    }
    error = errno;
    if (error != EINTR && !is_report(error)) break;
  }
  ++counters_.send_failures;
  if (error == EAGAIN || error == ENOBUFS) return {SendState::would_block, 0, error};
  return {SendState::lost, 0, error};
}

void UdpLink::drop_input() noexcept {
  constexpr int most = 1 << 13;  // a flood must not hold us
  for (int i = 0; i < most && read_batch(SteadyTime{}.now()); ++i) {
  }
  in_batch_ = 0;
  emptied_ = false;
  counters_ = {};
}

namespace {

KindEntry udp_entry() {
  auto entry = kind<UdpSettings>("udp", udp_fields);
  entry.read = [plain = entry.read](const Node& node, const std::string& key, std::any& out, Problems& problems) {
    if (!plain(node, key, out, problems)) return false;
    const auto before = problems.count();
    check_udp(std::any_cast<const UdpSettings&>(out), node, problems);
    return problems.count() == before;
  };
  return entry;
}

// Hears what is sent to the peer's address or group, and sends to where the bench listens.
UdpSettings seen_from_far(const UdpSettings& bench) {
  UdpSettings far;
  far.local = {bench.sender().address, bench.peer.port};
  far.peer = {bench.group.value_or(bench.local.address), bench.local.port};
  if (is_group(bench.peer.address)) far.group = bench.peer.address;
  far.from = bench.local;
  far.broadcast = bench.broadcast;
  far.hops = bench.hops;
  far.loop = true;
  far.receive_buffer = bench.receive_buffer;
  return far;
}

}  // namespace

LinkKind udp_kind() {
  return opened_by<UdpLink, UdpSettings>(
      udp_entry(),
      [](const std::any& any) -> Result<std::unique_ptr<Link>> {
        const auto& bench = std::any_cast<const UdpSettings&>(any);
        if (bench.sender().port != bench.peer.port)
          return fail(Fault::bad_input, "udp " + bench.peer.text() +
                                            ": what stands for the device sends from the "
                                            "port on which it listens; give \"from\" that port too");
        return UdpLink::open(seen_from_far(bench));
      },
      [](const std::any&) {
        // A bench's own network: one switch, 100 Mbit/s. Common practice, no source.
        const WirePath path{50us, 50us, 0.0};
        return WireModel{WireModel::Mode::datagrams, path, path, 80ns, kernel_stamp_half_width};
      },
      [](const std::any& any) {
        const auto& local = std::any_cast<const UdpSettings&>(any).local;
        return local.port == 0 ? std::string{} : "UDP port " + local.text();
      });
}

}  // namespace trackrod
