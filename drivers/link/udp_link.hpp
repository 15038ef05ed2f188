#pragma once
// A UDP socket that hears one sender. Datagrams are stamped by the kernel, losses counted by the kernel.

#include <array>
#include <cstdint>
#include <memory>

#include "drivers/link/clock_pair.hpp"
#include "drivers/link/link.hpp"
#include "drivers/link/udp_batch.hpp"
#include "drivers/link/udp_socket.hpp"

namespace trackrod {

// Its line in link_table().
LinkKind udp_kind();

class UdpLink final : public Link {
 public:
  // Error kinds as of open_udp_socket().
  static Result<std::unique_ptr<UdpLink>> open(const UdpSettings& settings);
  static std::unique_ptr<UdpLink> adopt(const UdpSettings& settings, int descriptor);
  ~UdpLink() override;
  UdpLink(const UdpLink&) = delete;
  UdpLink& operator=(const UdpLink&) = delete;

  int descriptor() const noexcept override { return socket_; }
  // Takes several datagrams from the system at once and hands them out one at a time.
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
  UdpLink(const UdpSettings& settings, int socket);
  bool read_batch(BenchTime now) noexcept;
  Received hand_out(int i, std::span<std::byte> into) noexcept;
  bool is_for_us(const UdpBatch::Datagram& datagram) const noexcept;
  bool take_refusals() noexcept;
  void drop_input() noexcept;

  UdpSettings settings_;
  int socket_;
  sockaddr_in peer_, sender_;
  NetworkCard card_;  // of `local`; looked at when the socket hears what is addressed to many
  std::unique_ptr<UdpBatch> batch_;
  std::array<MappedStamp, UdpBatch::room> stamps_{};  // of the batch
  int in_batch_{0}, next_{0};
  bool emptied_{false};  // the batch was all there was
  BenchTime last_empty_;
  std::uint32_t kernel_drops_{0};  // as last told
  LinkCounters counters_;
};

}  // namespace trackrod
