#include "drivers/protocol/canopen_messages.hpp"

#include <algorithm>
#include <cstdio>

#include "drivers/protocol/canopen_402.hpp"
#include "drivers/protocol/canopen_nmt.hpp"

namespace trackrod {
namespace {

struct AbortCode {
  std::uint32_t code;
  const char* words;
};
// CiA 301, SDO abort codes. The place in this list stands in a message: add new ones at the end.
constexpr AbortCode abort_codes[] = {
    {0, "an abort code that CiA 301 does not know"},
    {0x05030000, "toggle bit not alternated"},
    {0x05040000, "time-out"},
    {0x05040001, "command not known"},
    {0x05040002, "block size not valid"},
    {0x05040003, "sequence number not valid"},
    {0x05040004, "checksum error"},
    {0x05040005, "out of memory"},
    {0x06010000, "access not supported"},
    {0x06010001, "object can only be written"},
    {0x06010002, "object can only be read"},
    {0x06020000, "no such object"},
    {0x06040041, "object cannot be mapped into the PDO"},
    {0x06040042, "mapped objects are longer than a PDO"},
    {0x06040043, "parameters do not go together"},
    {0x06040047, "incompatibility in the device"},
    {0x06060000, "hardware error"},
    {0x06070010, "length of the value is wrong"},
    {0x06070012, "value is too long"},
    {0x06070013, "value is too short"},
    {0x06090011, "no such sub-index"},
    {0x06090030, "value not allowed"},
    {0x06090031, "value too high"},
    {0x06090032, "value too low"},
    {0x06090036, "maximum is below minimum"},
    {0x060A0023, "resource not available"},
    {0x08000000, "general error"},
    {0x08000020, "value cannot be stored"},
    {0x08000021, "value cannot be stored: the device is under local control"},
    {0x08000022, "value cannot be stored in the device's present state"},
    {0x08000023, "no object dictionary"},
    {0x08000024, "no data"},
};

// CiA 301 and CiA 402, classes of emergency error codes; the more special ones come first.
struct EmergencyClass {
  std::uint16_t mask, value;
  const char* words;
};
constexpr EmergencyClass emergency_classes[] = {
    {0xFF00, 0x0000, "error reset or no error"},
    {0xFF00, 0x1000, "generic error"},
    {0xFFFF, 0x3120, "input voltage too low"},
    {0xFF00, 0x2100, "current on the input side"},
    {0xFF00, 0x2200, "current inside the device"},
    {0xFF00, 0x2300, "current on the output side"},
    {0xF000, 0x2000, "current"},
    {0xFF00, 0x3100, "mains voltage"},
    {0xFF00, 0x3200, "voltage inside the device"},
    {0xFF00, 0x3300, "output voltage"},
    {0xF000, 0x3000, "voltage"},
    {0xFF00, 0x4100, "ambient temperature"},
    {0xFF00, 0x4200, "device temperature"},
    {0xF000, 0x4000, "temperature"},
    {0xF000, 0x5000, "device hardware"},
    {0xFF00, 0x6100, "internal software"},
    {0xFF00, 0x6200, "user software"},
    {0xFF00, 0x6300, "data set"},
    {0xF000, 0x6000, "device software"},
    {0xF000, 0x7000, "additional modules"},
    {0xFFFF, 0x8110, "CAN overrun"},
    {0xFFFF, 0x8120, "CAN in error-passive mode"},
    {0xFFFF, 0x8130, "heartbeat or life guard"},
    {0xFFFF, 0x8140, "recovered from bus-off"},
    {0xFFFF, 0x8150, "identifier collision"},
    {0xFFFF, 0x8210, "PDO not processed: length"},
    {0xFFFF, 0x8220, "PDO too long"},
    {0xF000, 0x8000, "monitoring"},
    {0xFF00, 0x9000, "external error"},
    {0xFF00, 0xF000, "additional functions"},
    {0xFF00, 0xFF00, "device specific"},
};

constexpr std::uint32_t abort_bit = 1U << 31;

std::string hex(std::uint32_t value, int digits) {
  char t[16];
  std::snprintf(t, sizeof t, "%0*Xh", digits, value);
  return t;
}

std::string emergency(std::uint32_t low) {
  const auto code = static_cast<std::uint16_t>(low);
  const auto* words = "error code of no known class";
  for (const auto& c : emergency_classes)
    if ((code & c.mask) == c.value) {
      words = c.words;
      break;
    }
  return "emergency " + hex(code, 4) + ": " + words + " (error register " + hex(low >> 16, 2) + ")";
}

}  // namespace

std::uint32_t canopen_message(CanopenMessage kind, std::uint32_t low) noexcept {
  return static_cast<std::uint32_t>(kind) << 24 | (low & 0xFFFFFF);
}

std::uint32_t canopen_message(CanopenMessage kind, ObjectAddress object) noexcept {
  return canopen_message(kind, static_cast<std::uint32_t>(object.index) << 8 | object.sub);
}

std::uint32_t canopen_abort_message(std::uint32_t code, ObjectAddress object) noexcept {
  const auto at = std::find_if(std::begin(abort_codes), std::end(abort_codes), [&](auto& a) { return a.code == code; });
  const auto number = at == std::end(abort_codes) ? 0 : static_cast<std::uint32_t>(at - std::begin(abort_codes));
  return abort_bit | number << 24 | static_cast<std::uint32_t>(object.index) << 8 | object.sub;
}

std::string describe_canopen(std::uint32_t message) {
  const auto low = message & 0xFFFFFF;
  const ObjectAddress object{static_cast<std::uint16_t>(low >> 8), static_cast<std::uint8_t>(low)};
  if ((message & abort_bit) != 0) {
    const auto number = std::min<std::size_t>(message >> 24 & 0x7F, std::size(abort_codes));
    const auto& abort = abort_codes[number == std::size(abort_codes) ? 0 : number];
    return "SDO transfer of " + object.text() + " ended: " + abort.words +
           (abort.code == 0 ? "" : " (" + hex(abort.code, 8) + ")");
  }
  switch (static_cast<CanopenMessage>(message >> 24)) {
    case CanopenMessage::emergency:
      return emergency(low);
    case CanopenMessage::no_answer:
      return "no answer when asked for " + object.text();
    case CanopenMessage::identity_differs:
      return object.text() + " is not what the bench file says: this is another device, and it is not driven";
    case CanopenMessage::not_mapped:
      return object.text() + " is in no PDO of the device: map it there, or give the field 'every'";
    case CanopenMessage::size_differs:
      return object.text() + " has another size in the device than the field's 'type'";
    case CanopenMessage::foreign_pdo:
      return "the device uses identifier " + hex(low, 3) + " for a PDO, which is not listened to: see 'also_listen'";
    case CanopenMessage::heartbeat_lost:
      return "heartbeat lost";
    case CanopenMessage::started_again:
      return "the device started again";
    case CanopenMessage::left_operational:
      return std::string{"the device left the state operational for "} + nmt_state_name(static_cast<std::uint8_t>(low));
    case CanopenMessage::drive_refused:
      return std::string{"the drive does not go from '"} + drive_state_name(static_cast<DriveState>(low >> 8 & 0xFF)) +
             "' to '" + drive_state_name(static_cast<DriveState>(low & 0xFF)) + "'";
    case CanopenMessage::drive_left_by_itself:
      return std::string{"the drive went by itself from '"} +
             drive_state_name(static_cast<DriveState>(low >> 8 & 0xFF)) + "' to '" +
             drive_state_name(static_cast<DriveState>(low & 0xFF)) +
             "': it is driven again only after drive_wanted was 1";
  }
  return "";
}

}  // namespace trackrod
