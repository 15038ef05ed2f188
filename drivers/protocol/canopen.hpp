#pragma once
// The bench's end of a CANopen device: asks it who it is and where its PDOs have what, starts it, then sends and reads
// PDOs in cycles, other objects by SDO, and walks a drive through the states of CiA 402. docs/protocols.md has the
// order of talk.

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "drivers/protocol/canopen_402.hpp"
#include "drivers/protocol/canopen_messages.hpp"
#include "drivers/protocol/canopen_nmt.hpp"
#include "drivers/protocol/canopen_sdo.hpp"
#include "drivers/protocol/canopen_settings.hpp"
#include "drivers/protocol/canopen_startup.hpp"
#include "drivers/protocol/protocol.hpp"

namespace trackrod {

class Canopen final : public Protocol {
 public:
  explicit Canopen(const CanopenSettings& settings);

  const std::vector<FieldInfo>& fields() const noexcept override { return fields_; }
  bool on_bytes(std::span<const std::byte> bytes, Stamp stamp, FieldSink& sink) noexcept override;
  void set(FieldIndex field, double value) noexcept override;
  std::span<const std::byte> due(BenchTime now) noexcept override;
  bool settled(FieldIndex field) const noexcept override;
  std::uint32_t take_message() noexcept override { return messages_.take(); }
  std::string describe_message(std::uint32_t message) const override { return describe_canopen(message); }
  std::size_t identity_items() const noexcept override { return CanopenStartup::identity_names.size(); }
  IdentityItem identity_item(std::size_t item) const noexcept override { return startup_.identity_item(item); }
  std::vector<CanFilter> wanted() const override;
  std::vector<CanFilter> sends() const override;
  const ProtocolCounters& counters() const noexcept override { return counters_; }
  // PDOs to the device with their contents, where each driven object stands in them, the wish for the drive's state and
  // the phase of the cycle. The process that takes over goes on sending them at once and asks for the other PDOs again.
  void save(std::span<std::uint32_t> words) const noexcept override;
  void load(std::span<const std::uint32_t> words) noexcept override;
  // None: a frame is sent as a whole. An SDO transfer that was open is given up by the first frame after load().
  std::span<const std::byte> terminator() const noexcept override { return {}; }

 private:
  static constexpr std::size_t no_pdo = most_pdos;
  static constexpr FieldIndex no_field = 0xFFFF;

  struct Object {
    ObjectAddress address;
    ObjectType type{ObjectType::i32};
    double scale{1.0}, offset{0.0};
    std::size_t pdo{no_pdo};
    PdoPlace place;
  };
  struct Reading : Object {
    std::optional<Duration> every;
    FieldIndex field{no_field};
    BenchTime next{};
  };
  struct Driven : Object {
    std::uint64_t raw{0};
    bool known{false};   // a value was set
    bool unsent{false};  // it still has to go out
    bool taken{false};   // it went out, by SDO with the device's confirmation
  };
  struct PdoToDevice {
    std::uint32_t identifier{0};
    std::size_t length{0};
    std::array<std::byte, 8> data{};
    bool in_use{false};  // nothing is sent before a value is set in it
  };
  enum class Phase : std::uint8_t {
    begin,
    asking,    // the start-up's questions
    starting,  // told to start; its heartbeat does not yet say so
    running
  };
  enum class Purpose : std::uint8_t { startup, write, read };

  std::span<const std::byte> frame(std::uint32_t id, std::span<const std::byte> data) noexcept;
  std::span<const std::byte> frame(std::uint32_t id, std::initializer_list<unsigned> data) noexcept;
  std::span<const std::byte> network(BenchTime now) noexcept;
  std::span<const std::byte> cyclic(BenchTime now) noexcept;

  void begin(BenchTime now) noexcept;
  void start(BenchTime now) noexcept;
  void begin_again() noexcept;
  void use_maps() noexcept;
  bool find_place(Object& object, std::span<const PdoMap> maps) noexcept;
  bool hears(std::uint32_t identifier) const noexcept;
  void walk(BenchTime now) noexcept;
  void put(Driven& driven, std::uint64_t raw) noexcept;
  bool mode_is_right() const noexcept;

  void next_transfer(BenchTime now) noexcept;
  void ended(SdoResult result, Stamp stamp, FieldSink* sink) noexcept;
  void startup_ended(SdoResult result, BenchTime now) noexcept;
  void no_answer() noexcept;

  bool on_heartbeat(std::span<const std::byte> data, Stamp stamp, FieldSink& sink) noexcept;
  bool on_emergency(std::span<const std::byte> data) noexcept;
  bool on_pdo(std::size_t pdo, std::span<const std::byte> data, Stamp stamp, FieldSink& sink) noexcept;
  void deliver(const Reading& reading, std::uint64_t raw, Stamp stamp, FieldSink& sink) noexcept;
  void tell(std::uint32_t message) noexcept {
    if (message != 0) messages_.put(message);
  }

  std::uint32_t node_;
  Duration cycle_, pause_;  // pause: before a device that did not answer, or the wrong one, is asked again
  bool sync_, has_heartbeat_, is_drive_;
  std::optional<std::uint32_t> own_node_;
  Duration own_every_{};
  std::vector<int> also_listen_;
  std::vector<FieldInfo> fields_;
  std::vector<Reading> readings_;  // the bench file's, then status word and shown mode
  std::vector<Driven> driven_;     // the bench file's, then control word and mode
  std::size_t first_driven_field_{0}, first_own_field_{0};
  std::size_t status_{0}, shown_mode_at_{0}, control_{0}, mode_{0};  // of a drive: places in these

  Phase phase_{Phase::begin};
  CanopenStartup startup_;
  bool looking_{false};  // the PDOs of a running device are asked for, after a take-over
  SdoClient sdo_;
  Purpose purpose_{Purpose::startup};
  std::size_t transfer_{0};
  bool told_no_answer_{false};
  BenchTime not_before_{};  // of the next try
  BenchTime started_{};
  HeartbeatWatch watch_;
  BenchTime own_next_{};
  std::optional<NmtCommand> command_;

  DriveWalk walk_;
  std::optional<double> shown_mode_;
  bool reset_wish_{false};

  std::array<PdoToDevice, most_pdos> to_device_{};
  BenchTime next_cycle_{};
  unsigned cycle_left_{0};  // bits of the PDOs, and of SYNC, that this cycle still has to send
  std::array<std::byte, greatest_can_datagram> out_{};
  MessageQueue messages_;
  ProtocolCounters counters_;
};

}  // namespace trackrod
