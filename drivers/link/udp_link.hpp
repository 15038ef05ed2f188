#pragma once
// A UDP socket that talks to one peer. Datagrams are stamped by the kernel, losses counted by the kernel.

#include <cstdint>

#include "drivers/link/endpoint.hpp"
#include "drivers/link/link.hpp"

namespace trackrod {

struct UdpSettings {
  Endpoint local;  // port 0: any free one (not in a bench file)
  Endpoint peer;
  std::int64_t receive_buffer{1 << 20};  // bytes asked of the system
};
const Fields<UdpSettings>& udp_fields();

// Its line in link_table().
LinkKind udp_kind();

class UdpLink final : public Link {
 public:
  // Error kinds: refused (the address is taken or not allowed), bad_input (this machine does not have it), internal.
  static Result<std::unique_ptr<UdpLink>> open(const UdpSettings& settings);
  static std::unique_ptr<UdpLink> adopt(const UdpSettings& settings, int descriptor);
  ~UdpLink() override;
  UdpLink(const UdpLink&) = delete;
  UdpLink& operator=(const UdpLink&) = delete;

  int descriptor() const noexcept override { return socket_; }
  Received receive(std::span<std::byte> into, BenchTime now) noexcept override;
  // `lost` when this machine cannot send now (no route, interface down): the socket stays usable.
  SendResult send(std::span<const std::byte> bytes, BenchTime now) noexcept override;
  void drop_queued_output() noexcept override {}
  const LinkCounters& counters() const noexcept override { return counters_; }
  std::string describe() const override;
  std::string remark() const override;

  // Where it listens, with the port that the system chose.
  Endpoint local() const noexcept;

 private:
  UdpLink(const UdpSettings& settings, int socket, BenchTime now);
  Received take(std::span<std::byte> into, std::size_t size, const struct msghdr& message) noexcept;
  bool take_refusals() noexcept;
  void drop_input() noexcept;

  UdpSettings settings_;
  int socket_;
  sockaddr_in peer_;
  BenchTime last_empty_;
  std::uint32_t kernel_drops_{0};  // as last told
  LinkCounters counters_;
};

}  // namespace trackrod
