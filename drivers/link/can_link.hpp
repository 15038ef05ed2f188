#pragma once
// A socket on a CAN interface, classic or FD. It moves CAN frames as datagrams (can_frame.hpp); the kernel filters and
// stamps them and counts what it drops.

#include <linux/can.h>
#include <sys/socket.h>

#include <cstdint>
#include <optional>
#include <vector>

#include "drivers/link/can_echoes.hpp"
#include "drivers/link/can_interface.hpp"
#include "drivers/link/link.hpp"

namespace trackrod {

const Fields<CanSettings>& can_fields();

// Its line in link_table().
LinkKind can_kind();

class CanLink final : public Link {
 public:
  // Error kinds: bad_input (no such interface, or another one than the settings say), refused (it is down or off the
  // bus), internal (a system without CAN).
  static Result<std::unique_ptr<CanLink>> open(const CanSettings& settings);
  static std::unique_ptr<CanLink> adopt(const CanSettings& settings, int descriptor);
  ~CanLink() override;
  CanLink(const CanLink&) = delete;
  CanLink& operator=(const CanLink&) = delete;

  int descriptor() const noexcept override { return socket_; }
  // Frames of others that are wanted, and error frames. Echoes of our own are counted and timed, not handed on; frames
  // of others with an identifier that only we send count as foreign. Lost with ENETDOWN when the interface went down,
  // with ENODEV when it is gone.
  Received receive(std::span<std::byte> into, BenchTime now) noexcept override;
  // would_block while the queue of the interface is full: the same frame is to be offered again, which keeps the order.
  // A frame that has been refused for `give_up` is dropped and counted (`lost`, ENOBUFS): a setpoint that comes late is
  // worse than none, and the next one has a newer value. EINVAL: the bytes are no frame, or an FD frame on classic CAN.
  SendResult send(std::span<const std::byte> bytes, BenchTime now) noexcept override;
  void want(std::span<const CanFilter> arriving, std::span<const CanFilter> own) override;
  void drop_queued_output() noexcept override {}
  const LinkCounters& counters() const noexcept override { return counters_; }
  std::string describe() const override;
  std::string remark() const override;

 private:
  CanLink(const CanSettings& settings, int socket);
  Received take(const canfd_frame& raw, const msghdr& message, std::span<std::byte> into) noexcept;
  bool passes(const canfd_frame& raw) noexcept;
  void see_echo(std::span<const std::byte> datagram, BenchTime when) noexcept;
  void drop_input() noexcept;

  CanSettings settings_;
  int socket_;
  Duration stamp_half_width_;
  std::optional<std::vector<CanFilter>> wanted_;  // none: everything
  BenchTime last_empty_;
  std::optional<BenchTime> refused_since_;  // sending: the frame in hand
  std::uint32_t kernel_drops_{0};           // as last told
  CanEchoes echoes_;
  LinkCounters counters_;
};

}  // namespace trackrod
