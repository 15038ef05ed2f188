#include "drivers/protocol/frames.hpp"
#include "drivers/protocol/protocol.hpp"
#include "drivers/protocol/scpi.hpp"

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

void check_scpi_over(const ScpiSettings&, Carries carries, const Where& link, Problems& problems) {
  if (carries == Carries::can_frames)
    problems.add(link, "the protocol 'scpi' sends lines of text, and the link is a CAN bus",
                 "a link such as 'serial' or 'udp' for it");
}

std::unique_ptr<Protocol> make_frames(const std::any& settings, Side side) {
  return std::make_unique<Frames>(std::any_cast<const FramesSettings&>(settings), side);
}

std::unique_ptr<Protocol> make_scpi(const std::any& settings, Side side) {
  if (side == Side::peer) return nullptr;  // the other end is an instrument, which is more than its settings
  return std::make_unique<Scpi>(std::any_cast<const ScpiSettings&>(settings));
}

}  // namespace

const std::vector<ProtocolKind>& protocol_table() {
  static const std::vector<ProtocolKind> table{
      {{kind("frames", frames_fields), fields_by(check_frames), over_by(check_frames_over)}, make_frames},
      {{kind("scpi", scpi_fields), fields_by(check_scpi), over_by(check_scpi_over)}, make_scpi},
  };
  return table;
}

}  // namespace trackrod
