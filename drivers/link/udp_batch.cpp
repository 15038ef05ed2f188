#include "drivers/link/udp_batch.hpp"

#include <algorithm>

namespace trackrod {
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
  d.words = kernel_words(message.msg_hdr);
  return d;
}

}  // namespace trackrod
