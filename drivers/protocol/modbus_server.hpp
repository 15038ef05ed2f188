#pragma once
// The device's end of Modbus: keeps the registers that a bench file describes, and serves them. For the simulated
// bench, and for tests of the bench's own end.

#include <array>
#include <cstdint>
#include <vector>

#include "drivers/protocol/modbus_carrier.hpp"
#include "drivers/protocol/modbus_settings.hpp"
#include "drivers/protocol/protocol.hpp"

namespace trackrod {

class ModbusServer final : public Protocol {
 public:
  explicit ModbusServer(const ModbusSettings& settings);

  // As the bench's: what is to be driven there is taken here.
  const std::vector<FieldInfo>& fields() const noexcept override { return fields_; }
  // A value that the bench wrote goes to `sink`.
  bool on_bytes(std::span<const std::byte> bytes, Stamp stamp, FieldSink& sink) noexcept override;
  // The value that the bench reads from now on.
  void set(FieldIndex field, double value) noexcept override;
  std::span<const std::byte> due(BenchTime now) noexcept override;
  bool settled(FieldIndex) const noexcept override { return true; }
  std::uint32_t take_message() noexcept override { return 0; }
  const ProtocolCounters& counters() const noexcept override { return counters_; }
  void save(std::span<std::uint32_t>) const noexcept override {}
  void load(std::span<const std::uint32_t>) noexcept override {}
  std::span<const std::byte> terminator() const noexcept override { return {}; }

 private:
  struct Value {
    ModbusPlace place;
    bool is_setting{false};
    std::array<std::uint16_t, 2> words{};
  };
  // The register at `address`; null when nothing is there.
  std::uint16_t* find(ModbusTable table, unsigned address) noexcept;
  // Each makes the answer in reply_ and returns an exception code, 0 when there is none.
  unsigned serve(std::span<const std::byte> pdu, Stamp stamp, FieldSink& sink) noexcept;
  unsigned serve_read(std::span<const std::byte> pdu) noexcept;
  unsigned serve_write(std::span<const std::byte> pdu, Stamp stamp, FieldSink& sink) noexcept;
  unsigned serve_identification(std::span<const std::byte> pdu) noexcept;

  std::vector<FieldInfo> fields_;
  std::vector<Value> values_;  // by FieldIndex
  ModbusTransport transport_;
  unsigned unit_;
  ModbusReceiver receiver_;
  std::array<std::byte, 253> reply_{};
  std::size_t reply_size_{0};
  std::array<std::byte, longest_modbus> out_{};
  std::size_t out_size_{0};
  ProtocolCounters counters_;
};

}  // namespace trackrod
