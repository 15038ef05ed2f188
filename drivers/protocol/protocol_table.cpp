#include "drivers/protocol/canopen.hpp"
#include "drivers/protocol/frames.hpp"
#include "drivers/protocol/modbus.hpp"
#include "drivers/protocol/modbus_server.hpp"
#include "drivers/protocol/protocol.hpp"
#include "drivers/protocol/scpi.hpp"
#include "drivers/protocol/uds.hpp"

namespace trackrod {
namespace {

// Settings of another type come from a reader that failed, which has told why.
template <class Settings>
auto fields_by(std::vector<FieldInfo> (*check)(const Settings&, Problems&)) {
  return [check](const std::any& settings, Problems& problems) {
    const auto* known = std::any_cast<Settings>(&settings);
    return known != nullptr ? check(*known, problems) : std::vector<FieldInfo>{};
  };
}

template <class Settings>
auto over_by(void (*check)(const Settings&, Carries, const Where&, Problems&)) {
  return [check](const std::any& settings, Carries carries, const Where& link, Problems& problems) {
    if (const auto* known = std::any_cast<Settings>(&settings)) check(*known, carries, link, problems);
  };
}

template <class Settings>
auto messages_by(std::vector<MessageInfo> (*messages)(const Settings&)) {
  return [messages](const std::any& settings) { return messages(std::any_cast<const Settings&>(settings)); };
}

void check_scpi_over(const ScpiSettings&, Carries carries, const Where& link, Problems& problems) {
  if (carries == Carries::can_frames)
    problems.add(link, "the protocol 'scpi' sends lines of text, and the link is a CAN bus",
                 "a link such as 'serial' or 'udp' for it");
}

void check_modbus_over(const ModbusSettings&, Carries carries, const Where& link, Problems& problems) {
  if (carries == Carries::can_frames)
    problems.add(link, "the protocol 'modbus' sends messages of up to 260 bytes, and the link is a CAN bus",
                 "a link such as 'serial' or 'tcp' for it");
}

std::unique_ptr<Protocol> make_frames(const std::any& settings, Side side) {
  return std::make_unique<Frames>(std::any_cast<const FramesSettings&>(settings), side);
}

std::unique_ptr<Protocol> make_scpi(const std::any& settings, Side side) {
  if (side == Side::peer) return nullptr;  // the other end is an instrument, which is more than its settings
  return std::make_unique<Scpi>(std::any_cast<const ScpiSettings&>(settings));
}

std::unique_ptr<Protocol> make_modbus(const std::any& settings, Side side) {
  const auto& known = std::any_cast<const ModbusSettings&>(settings);
  if (side == Side::peer) return std::make_unique<ModbusServer>(known);
  return std::make_unique<Modbus>(known);
}

std::unique_ptr<Protocol> make_canopen(const std::any& settings, Side side) {
  if (side == Side::peer) return nullptr;  // the other end is a device with an object dictionary of its own
  return std::make_unique<Canopen>(std::any_cast<const CanopenSettings&>(settings));
}

std::unique_ptr<Protocol> make_uds(const std::any& settings, Side side) {
  if (side == Side::peer) return nullptr;  // the other end is a unit with faults of its own
  return std::make_unique<Uds>(std::any_cast<const UdsSettings&>(settings));
}

}  // namespace

const std::vector<ProtocolKind>& protocol_table() {
  static const std::vector<ProtocolKind> table{
      {{kind("frames", frames_fields), fields_by(check_frames), over_by(check_frames_over),
        messages_by(frames_messages)},
       make_frames},
      {{kind("scpi", scpi_fields), fields_by(check_scpi), over_by(check_scpi_over)}, make_scpi},
      {{kind("canopen", canopen_fields), fields_by(check_canopen), over_by(check_canopen_over)}, make_canopen},
      {{kind("modbus", modbus_fields), fields_by(check_modbus), over_by(check_modbus_over)}, make_modbus},
      {{kind("uds", uds_fields), fields_by(check_uds), over_by(check_uds_over)}, make_uds},
  };
  return table;
}

}  // namespace trackrod
