#include "drivers/link/isotp_link.hpp"

#include <linux/can.h>
#include <linux/can/isotp.h>
#include <net/if.h>
#include <sys/socket.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <cstdio>
#include <utility>

#include "drivers/link/clock_pair.hpp"
#include "drivers/link/kernel_words.hpp"
#include "harness/base/can_identifier.hpp"

namespace trackrod {
namespace {

using namespace std::chrono_literals;

std::string hex(std::uint32_t id) {
  std::array<char, 16> text;
  std::snprintf(text.data(), text.size(), "0x%X", id);
  return text.data();
}

bool is_extended(const IsotpSettings& s) { return s.extended || s.request > CAN_SFF_MASK || s.answer > CAN_SFF_MASK; }

// ISO 15765-2: 0 to 127 ms in milliseconds, F1 to F9 for 100 to 900 us. Rounded up.
std::uint8_t separation_byte(Duration least) {
  if (least > 0us && least <= 900us) return static_cast<std::uint8_t>(0xF0 + (least + 99us) / 100us);
  return static_cast<std::uint8_t>((least + 999us) / 1ms);
}

bool set_options(int s, const IsotpSettings& settings) {
  const int on = 1;
  can_isotp_options options{};
  if (settings.padding) {
    options.flags = CAN_ISOTP_TX_PADDING;
    options.txpad_content = static_cast<std::uint8_t>(*settings.padding);
  }
  can_isotp_fc_options flow{};
  flow.bs = static_cast<std::uint8_t>(settings.block_size);
  flow.stmin = separation_byte(settings.separation);
  can_isotp_ll_options frames{};
  frames.mtu = CANFD_MTU;
  frames.tx_dl = CANFD_MAX_DLEN;
  return setsockopt(s, SOL_SOCKET, SO_TIMESTAMPNS, &on, sizeof on) == 0 &&
         setsockopt(s, SOL_CAN_ISOTP, CAN_ISOTP_OPTS, &options, sizeof options) == 0 &&
         setsockopt(s, SOL_CAN_ISOTP, CAN_ISOTP_RECV_FC, &flow, sizeof flow) == 0 &&
         (!settings.fd || setsockopt(s, SOL_CAN_ISOTP, CAN_ISOTP_LL_OPTS, &frames, sizeof frames) == 0);
}

// Told once through the socket, about one message: its frames came out of order or stopped, flow control did not come,
// the interface is down. The socket itself is sound; silence is what the device's timeout watches.
bool is_report(int error) {
  return error == EILSEQ || error == ETIMEDOUT || error == EBADMSG || error == EMSGSIZE || error == ECOMM ||
         error == ENETDOWN || error == EPROTO;
}

}  // namespace

const Fields<IsotpSettings>& isotp_fields() {
  static const auto fields =
      Fields<IsotpSettings>{"isotp", "Whole messages over a CAN bus (ISO 15765-2), as diagnosis uses them."}
          .need("interface", &IsotpSettings::interface, text(), "CAN interface of this machine: \"can0\"")
          .need("request", &IsotpSettings::request, can_identifier(), "identifier that we send with: \"0x7E0\"")
          .need("answer", &IsotpSettings::answer, can_identifier(),
                "identifier that the device answers with: \"0x7E8\"")
          .may("extended", &IsotpSettings::extended, flag(),
               "identifiers of 29 bits, though they are small (default: false)")
          .may("fd", &IsotpSettings::fd, flag(), "CAN FD frames of up to 64 bytes (default: false)")
          .may("padding", &IsotpSettings::padding, maybe(integer<int>(0, 255)),
               "byte that fills up short frames, often 204 or 170 (default: they are not filled up)")
          .may("block_size", &IsotpSettings::block_size, integer<int>(0, 255),
               "frames that the device may send before it waits for us again (default 0: all)")
          .may("separation", &IsotpSettings::separation, duration(0us, 127ms),
               "least time that the device leaves between two frames (default: 0)");
  return fields;
}

Result<std::unique_ptr<IsotpLink>> IsotpLink::open(const IsotpSettings& settings) {
  const int s = socket(PF_CAN, SOCK_DGRAM | SOCK_CLOEXEC | SOCK_NONBLOCK, CAN_ISOTP);
  if (s < 0) {
    auto failed =
        fail_os(Fault::refused, "isotp " + settings.interface + ": this system puts no CAN frames together", errno);
    failed.value().context += "; load the kernel's module: sudo modprobe can-isotp";
    return failed;
  }
  auto link = std::unique_ptr<IsotpLink>{new IsotpLink{settings, s}};
  const auto index = if_nametoindex(settings.interface.c_str());
  if (index == 0)
    return fail(Fault::bad_input,
                "isotp " + settings.interface +
                    ": this machine has no such interface ('ip link' lists those it has); see that the "
                    "adapter is plugged in");
  if (!set_options(s, settings))
    return fail_os(Fault::internal, link->describe() + ": the system does not take these settings", errno);
  const std::uint32_t wide = is_extended(settings) ? CAN_EFF_FLAG : 0;
  sockaddr_can here{};
  here.can_family = AF_CAN;
  here.can_ifindex = static_cast<int>(index);
  here.can_addr.tp.tx_id = settings.request | wide;
  here.can_addr.tp.rx_id = settings.answer | wide;
  if (bind(s, reinterpret_cast<const sockaddr*>(&here), sizeof here) != 0) {
    const int error = errno;
    auto failed = fail_os(error == EADDRNOTAVAIL ? Fault::bad_input : Fault::refused,
                          link->describe() + " cannot be opened", error);
    failed.value().context +=
        error == EADDRNOTAVAIL
            ? "; \"request\" and \"answer\" must differ"
            : "; another program may speak to this device: end it; and see that the interface is up: 'ip link'";
    return failed;
  }
  return link;
}

std::unique_ptr<IsotpLink> IsotpLink::adopt(const IsotpSettings& settings, int descriptor) {
  auto link = std::unique_ptr<IsotpLink>{new IsotpLink{settings, descriptor}};
  link->drop_input();
  return link;
}

IsotpLink::IsotpLink(IsotpSettings settings, int socket)
    : settings_{std::move(settings)}, socket_{socket}, last_empty_{SteadyTime{}.now()} {}

IsotpLink::~IsotpLink() { close(socket_); }

std::string IsotpLink::describe() const {
  return "isotp " + settings_.interface + " " + hex(settings_.request) + " -> " + hex(settings_.answer);
}

Received IsotpLink::receive(std::span<std::byte> into, BenchTime now) noexcept {
  constexpr int tries = 16;
  for (int i = 0; i < tries; ++i) {
    alignas(cmsghdr) std::array<std::byte, kernel_words_room> control;
    iovec data{into.data(), into.size()};
    msghdr message{};
    message.msg_iov = &data;
    message.msg_iovlen = 1;
    message.msg_control = control.data();
    message.msg_controllen = control.size();
    const auto size = recvmsg(socket_, &message, MSG_DONTWAIT);
    if (size > 0) {
      const auto got = take(static_cast<std::size_t>(size), message);
      if (got.state == Received::State::bytes) return got;
    } else if (size == 0) {
      ++counters_.oversized;
    } else if (errno == EAGAIN) {
      last_empty_ = now;
      return {};
    } else if (is_report(errno)) {
      ++counters_.refused;
    } else if (errno != EINTR) {
      return {Received::State::lost, 0, {}, errno};
    }
  }
  return {};
}

Received IsotpLink::take(std::size_t size, const msghdr& message) noexcept {
  if ((message.msg_flags & MSG_TRUNC) != 0) {
    ++counters_.oversized;
    return {};
  }
  ++counters_.received;
  counters_.received_bytes += size;
  const auto [stamp, replaced] = map_kernel_stamp(kernel_words(message).wall, read_clock_pair(), last_empty_);
  if (replaced) ++counters_.stamps_replaced;
  return {Received::State::bytes, size, stamp, 0};
}

SendResult IsotpLink::send(std::span<const std::byte> bytes, BenchTime) noexcept {
  int error = 0;
  for (int i = 0; i < 3; ++i) {  // a report about an earlier message is handed out once, in place of sending
    if (::send(socket_, bytes.data(), bytes.size(), MSG_DONTWAIT | MSG_NOSIGNAL) >= 0) {
      ++counters_.sent;
      counters_.sent_bytes += bytes.size();
      return {SendState::sent, bytes.size(), 0};
    }
    error = errno;
    if (error != EINTR && !is_report(error)) break;
  }
  ++counters_.send_failures;
  const bool later = error == EAGAIN || error == ENOBUFS;
  return {later ? SendState::would_block : SendState::lost, 0, error};
}

void IsotpLink::drop_input() noexcept {
  constexpr int most = 1 << 12;
  std::array<std::byte, longest_message> nowhere;
  for (int i = 0; i < most && receive(nowhere, SteadyTime{}.now()).state == Received::State::bytes; ++i) {
  }
  counters_ = {};
}

LinkKind isotp_kind() {
  return opened_by<IsotpLink, IsotpSettings>(
      kind<IsotpSettings>("isotp", isotp_fields),
      [](const std::any& any) -> Result<std::unique_ptr<Link>> {
        auto other = std::any_cast<const IsotpSettings&>(any);
        std::swap(other.request, other.answer);
        return IsotpLink::open(other);
      },
      [](const std::any&) {
        // 500 kbit/s, 8 data bytes in a frame of about 125 bits, a unit that looks at its bus each millisecond.
        // Common practice, no source.
        const WirePath path{500us, 1ms, 0.0};
        return WireModel{WireModel::Mode::datagrams, path, path, 31us, kernel_stamp_half_width};
      },
      [](const std::any&) { return std::string{}; });
}

}  // namespace trackrod
