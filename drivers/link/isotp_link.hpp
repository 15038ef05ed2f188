#pragma once
// Whole messages over a CAN bus: ISO 15765-2, put together by the kernel (CAN_ISOTP). One message is one datagram.

#include <sys/socket.h>

#include <cstdint>
#include <memory>
#include <optional>
#include <string>

#include "drivers/link/link.hpp"

namespace trackrod {

struct IsotpSettings {
  std::string interface;
  std::uint32_t request{0}, answer{0};  // identifiers; more than 11 bits, or `extended`: 29
  bool extended{false};
  bool fd{false};
  std::optional<int> padding;  // byte that fills short frames; none: frames are as long as they need to be
  int block_size{0};           // of our flow control: frames until the sender waits for the next one; 0 = all
  Duration separation{};       // least time between two frames that the sender shall keep
};
const Fields<IsotpSettings>& isotp_fields();

class IsotpLink final : public Link {
 public:
  // Error kinds: bad_input (no such interface, wrong settings), refused (this system cannot do it), internal.
  static Result<std::unique_ptr<IsotpLink>> open(const IsotpSettings& settings);
  static std::unique_ptr<IsotpLink> adopt(const IsotpSettings& settings, int descriptor);
  ~IsotpLink() override;

  int descriptor() const noexcept override { return socket_; }
  Received receive(std::span<std::byte> into, BenchTime now) noexcept override;
  // A message of several frames is handed to the kernel, which sends it as the other side allows; until that is done,
  // the next one would block.
  SendResult send(std::span<const std::byte> bytes, BenchTime now) noexcept override;
  void drop_queued_output() noexcept override {}
  const LinkCounters& counters() const noexcept override { return counters_; }
  std::string describe() const override;

 private:
  IsotpLink(IsotpSettings settings, int socket);
  Received take(std::size_t size, const msghdr& message) noexcept;
  void drop_input() noexcept;

  IsotpSettings settings_;
  int socket_;
  BenchTime last_empty_;
  LinkCounters counters_;
};

LinkKind isotp_kind();

}  // namespace trackrod
