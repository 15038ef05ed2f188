#pragma once
// A TCP connection to a device: instruments that speak in lines (port 5025) and Modbus (port 502).

#include "drivers/link/byte_stream.hpp"
#include "drivers/link/endpoint.hpp"
#include "drivers/link/link.hpp"

namespace trackrod {

struct TcpSettings {
  Endpoint peer;
  Duration timeout{std::chrono::seconds{2}};  // longest wait for the connection, and for what was sent to be received
};
const Fields<TcpSettings>& tcp_fields();

// Its line in link_table().
LinkKind tcp_kind();

// Stamps: the time of the read, by the harness, believed within the time since the last read that found nothing. What
// the network lost and sent again comes late, and no stamp tells. A connection that ended is lost, with error 0 or the
// system's errno (ETIMEDOUT: the device's machine did not take what was sent within `timeout`).
class TcpLink final : public Link {
 public:
  // Blocks for up to `timeout`. Error kinds: link_lost (no answer, no way there), refused (nobody listens), internal.
  static Result<std::unique_ptr<TcpLink>> open(const TcpSettings& settings);
  static std::unique_ptr<TcpLink> adopt(const TcpSettings& settings, int descriptor);
  ~TcpLink() override;
  TcpLink(const TcpLink&) = delete;
  TcpLink& operator=(const TcpLink&) = delete;

  int descriptor() const noexcept override { return socket_; }
  Received receive(std::span<std::byte> into, BenchTime now) noexcept override;
  SendResult send(std::span<const std::byte> bytes, BenchTime now) noexcept override;
  // Nothing can be taken back from a connection: what the system took will arrive, in order.
  void drop_queued_output() noexcept override {}
  const LinkCounters& counters() const noexcept override { return counters_; }
  std::string describe() const override { return "tcp -> " + settings_.peer.text(); }

 private:
  TcpLink(const TcpSettings& settings, int socket) : settings_{settings}, socket_{socket} {}

  TcpSettings settings_;
  int socket_;
  StreamReads reads_;
  LinkCounters counters_;
};

}  // namespace trackrod
