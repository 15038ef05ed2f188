#include "drivers/link/udp_batch.hpp"

#include <cstring>

namespace trackrod {
namespace {

template <class T>
T value_of(const cmsghdr* c) noexcept {
  T value{};
  std::memcpy(&value, CMSG_DATA(c), sizeof value);
  return value;
}

}  // namespace

UdpBatch::UdpBatch() noexcept {
  for (int i = 0; i < room; ++i) {
    auto& slot = slots_[static_cast<std::size_t>(i)];
    auto& header = messages_[static_cast<std::size_t>(i)].msg_hdr;
    slot.data = {slot.bytes.data(), slot.bytes.size()};
    header.msg_name = &slot.from;
    header.msg_iov = &slot.data;
    header.msg_iovlen = 1;
    header.msg_control = slot.control.data();
  }
}

int UdpBatch::read(int socket) noexcept {
  for (auto& m : messages_) {
    m.msg_hdr.msg_namelen = sizeof(sockaddr_in);
    m.msg_hdr.msg_controllen = sizeof(Slot::control);
  }
  return recvmmsg(socket, messages_.data(), room, MSG_DONTWAIT, nullptr);
}

UdpBatch::Datagram UdpBatch::operator[](int i) const noexcept {
  const auto& slot = slots_[static_cast<std::size_t>(i)];
  const auto& message = messages_[static_cast<std::size_t>(i)];
  Datagram d;
  d.bytes = std::span{slot.bytes}.first(std::min<std::size_t>(message.msg_len, longest));
  d.too_long = (message.msg_hdr.msg_flags & MSG_TRUNC) != 0;
  d.from = slot.from;
  auto* header = const_cast<msghdr*>(&message.msg_hdr);
  for (const cmsghdr* c = CMSG_FIRSTHDR(header); c != nullptr; c = CMSG_NXTHDR(header, const_cast<cmsghdr*>(c))) {
    if (c->cmsg_level == SOL_SOCKET && c->cmsg_type == SCM_TIMESTAMPNS) {
      const auto ts = value_of<timespec>(c);
      d.wall = std::chrono::seconds{ts.tv_sec} + Duration{ts.tv_nsec};
    } else if (c->cmsg_level == SOL_SOCKET && c->cmsg_type == SO_RXQ_OVFL) {
      d.drops = value_of<std::uint32_t>(c);
    } else if (c->cmsg_level == IPPROTO_IP && c->cmsg_type == IP_PKTINFO) {
      const auto info = value_of<in_pktinfo>(c);
      d.to = ntohl(info.ipi_addr.s_addr);
      d.card = info.ipi_ifindex;
    }
  }
  return d;
}

}  // namespace trackrod
