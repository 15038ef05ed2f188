#include "drivers/link/kernel_words.hpp"

#include <netinet/in.h>

#include <cstring>
#include <ctime>

namespace trackrod {
namespace {

template <class T>
T value_of(const cmsghdr* c) noexcept {
  T value{};
  std::memcpy(&value, CMSG_DATA(c), sizeof value);
  return value;
}

}  // namespace

KernelWords kernel_words(const msghdr& message) noexcept {
  KernelWords words;
  auto* header = const_cast<msghdr*>(&message);  // the macros want it so; nothing is written
  for (cmsghdr* c = CMSG_FIRSTHDR(header); c != nullptr; c = CMSG_NXTHDR(header, c)) {
    if (c->cmsg_level == SOL_SOCKET && c->cmsg_type == SCM_TIMESTAMPNS) {
      const auto ts = value_of<timespec>(c);
      words.wall = std::chrono::seconds{ts.tv_sec} + Duration{ts.tv_nsec};
    } else if (c->cmsg_level == SOL_SOCKET && c->cmsg_type == SO_RXQ_OVFL) {
      words.drops = value_of<std::uint32_t>(c);
    } else if (c->cmsg_level == IPPROTO_IP && c->cmsg_type == IP_PKTINFO) {
      const auto info = value_of<in_pktinfo>(c);
      words.to = ntohl(info.ipi_addr.s_addr);
      words.card = info.ipi_ifindex;
    }
  }
  return words;
}

}  // namespace trackrod
