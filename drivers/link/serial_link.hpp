#pragma once
// A serial port (or pseudo-terminal). Nobody stamps its bytes but the one who reads them.

#include "drivers/link/byte_stream.hpp"
#include "drivers/link/link.hpp"
#include "drivers/link/serial_port.hpp"

namespace trackrod {

// Its line in link_table().
LinkKind serial_kind();

// Stamps: the time of the read, by the harness, believed within the time since the last read that found nothing (the
// bytes came after that) and the adapter's latency. A port that hung up is lost, with error 0 or the system's errno.
class SerialLink final : public Link {
 public:
  static Result<std::unique_ptr<SerialLink>> open(const SerialSettings& settings);
  static std::unique_ptr<SerialLink> adopt(const SerialSettings& settings, int descriptor);
  ~SerialLink() override;
  SerialLink(const SerialLink&) = delete;
  SerialLink& operator=(const SerialLink&) = delete;

  int descriptor() const noexcept override { return port_; }
  Received receive(std::span<std::byte> into, BenchTime now) noexcept override;
  SendResult send(std::span<const std::byte> bytes, BenchTime now) noexcept override;
  void drop_queued_output() noexcept override;
  const LinkCounters& counters() const noexcept override { return counters_; }
  std::string describe() const override { return "serial " + settings_.path + " " + settings_.line(); }
  std::string remark() const override { return serial_remark(settings_, port_); }

 private:
  SerialLink(const SerialSettings& settings, int port, bool opened_here);

  SerialSettings settings_;
  int port_;
  bool opened_here_;  // else another process still has the port, and gives it free
  Duration latency_;
  StreamReads reads_;
  LinkCounters counters_;
};

}  // namespace trackrod
