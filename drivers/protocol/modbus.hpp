#pragma once
// The bench's end of Modbus: writes values and reads them back, asks for readings in between. A state machine over
// time: one request at a time, each with its time-out.
//
// Order: values to be written, what has to be read back, readings. After a write something else has its turn once, so
// that values which change all the time starve nothing; a new value waits for two exchanges at most.

#include <array>
#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "drivers/protocol/modbus_carrier.hpp"
#include "drivers/protocol/modbus_settings.hpp"
#include "drivers/protocol/protocol.hpp"

namespace trackrod {

// What take_message() gives: a refusal as 256 * function + exception code, or one of these.
enum ModbusTold : std::uint32_t {
  modbus_no_answer = 100001,
  modbus_read_back_differs = 100002  // a value was written, and another one read back
};

class Modbus final : public Protocol {
 public:
  explicit Modbus(const ModbusSettings& settings);

  const std::vector<FieldInfo>& fields() const noexcept override { return fields_; }
  bool on_bytes(std::span<const std::byte> bytes, Stamp stamp, FieldSink& sink) noexcept override;
  void set(FieldIndex field, double value) noexcept override;
  std::span<const std::byte> due(BenchTime now) noexcept override;
  bool settled(FieldIndex field) const noexcept override;
  std::uint32_t take_message() noexcept override;
  std::string describe_message(std::uint32_t message) const override;
  // "vendor", "product", "revision", when the settings have them asked for and the device offers them (function 43).
  std::size_t identity_items() const noexcept override { return identity_.size(); }
  IdentityItem identity_item(std::size_t item) const noexcept override;
  const ProtocolCounters& counters() const noexcept override { return counters_; }
  // The transaction number. Everything else starts anew after a take-over.
  void save(std::span<std::uint32_t> words) const noexcept override;
  void load(std::span<const std::uint32_t> words) noexcept override;
  // None: on a serial line a message ends with silence, which is kept before the first request.
  std::span<const std::byte> terminator() const noexcept override { return {}; }
  bool needs_its_rest() const noexcept override { return transport_ == ModbusTransport::tcp; }

 private:
  using Words = std::array<std::uint16_t, 2>;
  struct Setting {
    ModbusSetting how;
    double wanted{0.0};  // as the device can hold it
    Words words{};
    bool has_value{false};
    bool unsent{false};  // `words` still have to go out
    bool written{false};
    bool owes_read_back{false};
    bool agreed{false};
    BenchTime not_before{};  // of the next try
    BenchTime again{};       // when it is written again though nothing changed
  };
  struct Reading {
    ModbusReading how;
    BenchTime next{};
    bool started{false};
    bool refusal_told{false};  // since it was answered last
  };
  enum class Question : std::uint8_t { none, write, read_back, reading, identity };

  std::span<const std::byte> ask(Question question, std::size_t index, BenchTime now);
  std::span<const std::byte> write_next(BenchTime now);
  std::span<const std::byte> read_next(BenchTime now);
  std::span<const std::byte> reading_next(BenchTime now, bool only_starved);
  void answered(std::span<const std::byte> pdu, Stamp stamp, FieldSink& sink);
  void refused(unsigned code, BenchTime now);
  void take_read_back(Setting& setting, double value, BenchTime now);
  void take_identity(std::span<const std::byte> pdu);
  void no_answer(BenchTime now);
  void tell(std::uint32_t message);

  std::vector<FieldInfo> fields_;
  std::vector<Setting> settings_;  // FieldIndex 0 ..
  std::vector<Reading> readings_;  // .. then these
  ModbusTransport transport_;
  unsigned unit_;
  Duration timeout_, gap_;

  Question open_{Question::none};
  std::size_t open_index_{0};
  BenchTime asked_{};
  Question last_{Question::none};
  std::size_t next_write_{0}, next_read_back_{0};  // places to look from, so that each has its turn
  BenchTime line_free_{};                          // RTU: no request before
  bool waits_for_silence_{false};                  // RTU, after a take-over: line_free_ counts from the first due()
  // RTU answers do not say to which request. After one that did not come nothing is read until it cannot come any more.
  BenchTime reads_not_before_{};
  bool asks_identity_;
  unsigned next_object_{0};
  std::array<std::string, 3> identity_;  // by object

  bool silence_told_{false};  // since the last answer
  ModbusPdu request_;
  std::uint16_t transaction_{0};
  std::array<std::byte, longest_modbus> out_{};
  ModbusReceiver receiver_;
  std::array<std::uint32_t, 8> messages_{};
  std::size_t message_count_{0};
  ProtocolCounters counters_;
};

}  // namespace trackrod
