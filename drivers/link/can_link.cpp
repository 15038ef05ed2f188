#include "drivers/link/can_link.hpp"

#include <linux/can/error.h>
#include <linux/can/raw.h>
#include <sys/socket.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <utility>

#include "drivers/link/clock_pair.hpp"
#include "drivers/link/kernel_stamps.hpp"
#include "drivers/link/kernel_words.hpp"

namespace trackrod {
namespace {

using namespace std::chrono_literals;

// An adapter on USB is asked each millisecond, and its frames are stamped when its answer comes. From memory; no
// source.
constexpr Duration usb_half_width = 1ms;

CanFrame frame_of(const canfd_frame& raw, std::size_t size) noexcept {
  CanFrame frame;
  frame.error = (raw.can_id & CAN_ERR_FLAG) != 0;
  frame.extended = (raw.can_id & CAN_EFF_FLAG) != 0;
  frame.remote = (raw.can_id & CAN_RTR_FLAG) != 0;
  frame.id = raw.can_id & (frame.extended || frame.error ? CAN_EFF_MASK : CAN_SFF_MASK);
  frame.fd = size == CANFD_MTU;
  frame.bit_rate_switch = frame.fd && (raw.flags & CANFD_BRS) != 0;
  frame.error_passive = frame.fd && (raw.flags & CANFD_ESI) != 0;
  // A remote request has a length, but no data.
  const auto length = frame.remote ? std::uint8_t{0} : std::min<std::uint8_t>(raw.len, frame.fd ? 64 : 8);
  frame.data = std::as_bytes(std::span{raw.data}).first(length);
  return frame;
}

// The size that the kernel wants for it.
std::size_t to_raw(const CanFrame& frame, canfd_frame& raw) noexcept {
  raw.can_id = frame.id | (frame.extended ? CAN_EFF_FLAG : 0) | (frame.remote ? CAN_RTR_FLAG : 0) |
               (frame.error ? CAN_ERR_FLAG : 0);
  raw.len = static_cast<std::uint8_t>(frame.data.size());
  raw.flags = static_cast<std::uint8_t>(frame.bit_rate_switch ? CANFD_BRS : 0);
  std::copy(frame.data.begin(), frame.data.end(), std::as_writable_bytes(std::span{raw.data}).begin());
  return frame.fd ? CANFD_MTU : CAN_MTU;
}

bool set(int socket, int level, int option, int value) {
  return setsockopt(socket, level, option, &value, sizeof value) == 0;
}

int buffer_size(int socket) {
  int size = 0;
  socklen_t length = sizeof size;
  getsockopt(socket, SOL_SOCKET, SO_RCVBUF, &size, &length);
  return size / 2;  // the other half is for the kernel's own books
}

void ask_for_buffers(int socket, int receive) {
  // The forced form goes beyond net.core.rmem_max, where this process may do that.
  if (!set(socket, SOL_SOCKET, SO_RCVBUFFORCE, receive)) set(socket, SOL_SOCKET, SO_RCVBUF, receive);
  // As small as the system allows, some six frames. The socket is full then before the queue of the interface is
  // (mostly ten frames), so poll() tells when there is room, and few old frames are under way when a dead bus returns.
  set(socket, SOL_SOCKET, SO_SNDBUF, 0);
}

Result<int> make_socket(const CanSettings& s, const CanInterface& interface) {
  const auto where = "can " + s.interface + ": ";
  const int fd = socket(PF_CAN, SOCK_RAW | SOCK_CLOEXEC | SOCK_NONBLOCK, CAN_RAW);
  if (fd < 0) {
    auto failed = fail_os(Fault::internal, where + "no CAN socket could be made", errno);
    failed.value().context += "; does the kernel know CAN ('sudo modprobe can_raw')?";
    return failed;
  }
  const auto failed = [&](const std::string& what) {
    auto error = fail_os(Fault::internal, where + what, errno);
    close(fd);
    return error;
  };
  if (!set(fd, SOL_SOCKET, SO_TIMESTAMPNS, 1) || !set(fd, SOL_SOCKET, SO_RXQ_OVFL, 1))
    return failed("the system does not stamp or count frames");
  if (!set(fd, SOL_CAN_RAW, CAN_RAW_RECV_OWN_MSGS, 1) ||
      !set(fd, SOL_CAN_RAW, CAN_RAW_ERR_FILTER, static_cast<int>(CAN_ERR_MASK)) ||
      (s.fd && !set(fd, SOL_CAN_RAW, CAN_RAW_FD_FRAMES, 1)))
    return failed("the system does not give echoes, error frames or FD frames");
  ask_for_buffers(fd, static_cast<int>(s.receive_buffer));
  if (auto stamping = wait_for_kernel_stamps(); !stamping) {
    close(fd);
    return tl::unexpected<Error>{std::move(stamping.error())};
  }
  sockaddr_can address{};
  address.can_family = AF_CAN;
  address.can_ifindex = interface.index;
  if (bind(fd, reinterpret_cast<const sockaddr*>(&address), sizeof address) != 0) return failed("cannot be opened");
  return fd;
}

can_filter to_raw(const CanFilter& f) noexcept {
  return {f.id | (f.extended ? CAN_EFF_FLAG : 0), f.mask | CAN_EFF_FLAG};
}

}  // namespace

Result<std::unique_ptr<CanLink>> CanLink::open(const CanSettings& settings) {
  auto interface = look_at_can(settings.interface);
  if (!interface) return tl::unexpected<Error>{std::move(interface.error())};
  if (auto good = check_can(settings, *interface); !good) return tl::unexpected<Error>{std::move(good.error())};
  auto socket = make_socket(settings, *interface);
  if (!socket) return tl::unexpected<Error>{std::move(socket.error())};
  return std::unique_ptr<CanLink>{new CanLink{settings, *socket}};
}

std::unique_ptr<CanLink> CanLink::adopt(const CanSettings& settings, int descriptor) {
  auto link = std::unique_ptr<CanLink>{new CanLink{settings, descriptor}};
  link->drop_input();
  return link;
}

CanLink::CanLink(const CanSettings& settings, int socket)
    : settings_{settings}, socket_{socket}, last_empty_{SteadyTime{}.now()} {
  const auto interface = look_at_can(settings.interface);
  const bool is_usb = interface && interface->is_usb;
  stamp_half_width_ = settings.stamp_within.value_or(is_usb ? usb_half_width : kernel_stamp_half_width);
}

CanLink::~CanLink() { close(socket_); }

std::string CanLink::describe() const { return "can " + settings_.interface + (settings_.fd ? " (FD)" : ""); }

std::string CanLink::remark() const {
  if (const auto size = buffer_size(socket_); size < settings_.receive_buffer)
    return describe() + ": the system gives a receive buffer of " + std::to_string(size) + " bytes, not " +
           std::to_string(settings_.receive_buffer) +
           "; raise it: sudo sysctl net.core.rmem_max=" + std::to_string(settings_.receive_buffer);
  const auto interface = look_at_can(settings_.interface);
  return interface ? can_remark(settings_, *interface) : "";
}

void CanLink::want(std::span<const CanFilter> arriving, std::span<const CanFilter> own) {
  wanted_.emplace(arriving.begin(), arriving.end());
  std::vector<can_filter> raw;
  for (const auto& f : arriving) raw.push_back(to_raw(f));
  for (const auto& f : own) raw.push_back(to_raw(f));  // for their echoes
  // More than the kernel takes: then all come in, and passes() alone sorts them.
  if (raw.size() > CAN_RAW_FILTER_MAX) raw.assign(1, can_filter{0, 0});
  setsockopt(socket_, SOL_CAN_RAW, CAN_RAW_FILTER, raw.data(), static_cast<socklen_t>(raw.size() * sizeof(can_filter)));
}

Received CanLink::receive(std::span<std::byte> into, BenchTime now) noexcept {
  constexpr int tries = 64;  // a flood of frames that are not for us must not hold the caller
  for (int i = 0; i < tries; ++i) {
    canfd_frame raw{};
    alignas(cmsghdr) std::array<std::byte, kernel_words_room> control;
    iovec data{&raw, sizeof raw};
    msghdr message{};
    message.msg_iov = &data;
    message.msg_iovlen = 1;
    message.msg_control = control.data();
    message.msg_controllen = control.size();
    const auto size = recvmsg(socket_, &message, MSG_DONTWAIT);
    if (size >= 0) {
      if (size != CAN_MTU && size != CANFD_MTU) continue;
      data.iov_len = static_cast<std::size_t>(size);
      const auto got = take(raw, message, into);
      if (got.state == Received::State::bytes) return got;
    } else if (errno == EAGAIN) {
      last_empty_ = now;
      return {};
    } else if (errno != EINTR && errno != ENOBUFS) {
      return {Received::State::lost, 0, {}, errno};
    }
  }
  return {};
}

Received CanLink::take(const canfd_frame& raw, const msghdr& message, std::span<std::byte> into) noexcept {
  const auto words = kernel_words(message);
  if (words.drops)  // wraps as the kernel's counter does
    counters_.dropped_by_kernel += *words.drops - std::exchange(kernel_drops_, *words.drops);
  auto [stamp, replaced] = map_kernel_stamp(words.wall, read_clock_pair(), last_empty_);
  if (replaced) ++counters_.stamps_replaced;
  if (stamp.by == StampedBy::kernel) stamp.uncertainty += stamp_half_width_ - kernel_stamp_half_width;

  std::array<std::byte, greatest_can_datagram> buffer;
  const auto datagram = write_can(frame_of(raw, message.msg_iov->iov_len), buffer);
  if (datagram.empty() || datagram.size() > into.size()) {
    ++counters_.oversized;
    return {};
  }
  if ((message.msg_flags & MSG_CONFIRM) != 0) {
    see_echo(datagram, stamp.when);
    return {};
  }
  if (!passes(raw)) return {};
  std::copy(datagram.begin(), datagram.end(), into.begin());
  ++counters_.received;
  counters_.received_bytes += datagram.size();
  return {Received::State::bytes, datagram.size(), stamp, 0};
}

// The kernel has filtered already; but it let the frames that we send through, for their echoes.
bool CanLink::passes(const canfd_frame& raw) noexcept {
  if ((raw.can_id & CAN_ERR_FLAG) != 0) {
    ++counters_.bus_errors;
    return true;
  }
  if (!wanted_ || std::any_of(wanted_->begin(), wanted_->end(), [&](const CanFilter& f) {
        const auto filter = to_raw(f);
        return (raw.can_id & filter.can_mask) == (filter.can_id & filter.can_mask);
      }))
    return true;
  ++counters_.foreign;
  return false;
}

void CanLink::see_echo(std::span<const std::byte> datagram, BenchTime when) noexcept {
  const auto echo = echoes_.echo(datagram);
  if (!echo) return;  // another process of ours sent it
  ++counters_.echoes;
  counters_.echoes_missed += echo->passed_over;
  const auto taken = static_cast<std::uint64_t>(std::max(Duration{0}, when - echo->sent).count());
  counters_.last_echo_ns = taken;
  counters_.greatest_echo_ns = std::max(counters_.greatest_echo_ns.value(), taken);
}

SendResult CanLink::send(std::span<const std::byte> bytes, BenchTime now) noexcept {
  const auto frame = read_can(bytes);
  if (!frame || (frame->fd && !settings_.fd)) {
    ++counters_.send_failures;
    return {SendState::lost, 0, EINVAL};
  }
  canfd_frame raw{};
  const auto size = to_raw(*frame, raw);
  echoes_.offer(bytes, SteadyTime{}.now());
  ssize_t written = 0;
  do written = write(socket_, &raw, size);
  while (written < 0 && errno == EINTR);
  if (written >= 0) {
    refused_since_.reset();
    ++counters_.sent;
    counters_.sent_bytes += bytes.size();
    return {SendState::sent, bytes.size(), 0};
  }
  const int error = errno;
  echoes_.refused();
  if (error == EAGAIN || error == ENOBUFS) {
    if (!refused_since_) refused_since_ = now;
    if (now - *refused_since_ < settings_.give_up) return {SendState::would_block, 0, error};
  }
  refused_since_.reset();
  ++counters_.send_failures;
  return {SendState::lost, 0, error == EAGAIN ? ENOBUFS : error};
}

void CanLink::drop_input() noexcept {
  constexpr int most = 1 << 16;  // a flood must not hold us
  std::array<std::byte, greatest_can_datagram> nowhere;
  for (int i = 0; i < most && receive(nowhere, SteadyTime{}.now()).state == Received::State::bytes; ++i) {
  }
  counters_ = {};
}

}  // namespace trackrod
