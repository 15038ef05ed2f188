#include "drivers/protocol/frames.hpp"
#include "drivers/protocol/protocol.hpp"

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

template <class P, class Settings>
std::unique_ptr<Protocol> make(const std::any& settings, Side side) {
  return std::make_unique<P>(std::any_cast<const Settings&>(settings), side);
}

}  // namespace

const std::vector<ProtocolKind>& protocol_table() {
  static const std::vector<ProtocolKind> table{
      {{kind("frames", frames_fields), fields_by(check_frames)}, make<Frames, FramesSettings>},
  };
  return table;
}

}  // namespace trackrod
