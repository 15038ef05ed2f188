#pragma once
// What is asked of a CANopen device, and written to it, before it is started: who it is, how its heartbeat is set, and
// which objects stand where in its PDOs. One SDO transfer at a time; who makes the transfers is not its business.

#include <array>
#include <cstdint>
#include <optional>
#include <span>
#include <string>

#include "drivers/protocol/canopen_object.hpp"
#include "drivers/protocol/canopen_pdo.hpp"
#include "drivers/protocol/canopen_settings.hpp"
#include "drivers/protocol/protocol.hpp"

namespace trackrod {

struct SdoTransfer {
  ObjectAddress object;
  bool writes{false};
  std::size_t size{0};  // bytes to write
  std::uint32_t value{0};
};

class CanopenStartup {
 public:
  explicit CanopenStartup(const CanopenSettings& settings);

  enum class Extent : std::uint8_t { all, only_maps };  // only_maps: of a device that runs; nothing is written
  void begin(Extent extent) noexcept;

  // The transfer to make; empty when there is none left.
  std::optional<SdoTransfer> next() const noexcept;
  // How it ended. The result is a message (canopen_messages.hpp) or 0.
  std::uint32_t was_read(std::span<const std::byte> value) noexcept;
  void was_written() noexcept { advance(); }
  std::uint32_t was_aborted(std::uint32_t abort_code) noexcept;

  // The device is another one than the bench file says. There is no next transfer until begin().
  bool refused() const noexcept { return refused_; }
  bool done() const noexcept { return step_ == Step::done && !refused_; }
  const PdoMaps& maps() const noexcept { return maps_; }
  static constexpr std::array<std::string_view, 7> identity_names{"name",    "software", "device_type", "vendor",
                                                                  "product", "revision", "serial"};
  IdentityItem identity_item(std::size_t item) const noexcept { return {identity_names[item], told_[item].view()}; }

 private:
  enum class Step : std::uint8_t {
    device_type,
    identity,  // 1018:01 to 04
    name,
    software,
    disable,  // a drive: before anything else is done with it
    heartbeat,
    watched_heartbeat,
    pdo_identifier,
    pdo_count,
    pdo_entry,
    held,
    done
  };
  struct Text {
    std::array<char, 64> characters{};
    std::size_t size{0};
    void take(std::span<const std::byte> bytes) noexcept;
    void take_number(std::uint32_t number) noexcept;  // in hexadecimal
    std::string_view view() const noexcept { return {characters.data(), size}; }
  };

  void advance() noexcept;
  void next_step() noexcept;
  bool is_needed(Step step) const noexcept;
  void next_pdo() noexcept;
  void next_held() noexcept;
  PdoMap& map() noexcept;
  bool is_wrong(std::uint32_t value) const noexcept;
  std::uint32_t refuse() noexcept;

  std::optional<std::uint32_t> profile_;
  std::array<std::optional<std::uint32_t>, 4> wanted_identity_;
  std::string wanted_name_;
  std::optional<std::uint32_t> heartbeat_ms_, watched_heartbeat_;
  bool is_drive_;

  Extent extent_{Extent::all};
  Step step_{Step::done};
  bool refused_{false};
  unsigned number_{0};  // within a step: sub-index of the identity, entry of a mapping, object of a PDO
  bool to_device_{false};
  std::size_t pdo_{0};
  unsigned entries_{0};
  PdoMaps maps_;
  std::array<Text, identity_names.size()> told_;
};

}  // namespace trackrod
