// The frames that a bench sends, for faults of messages.

#include "drivers/protocol/frame_layout.hpp"

namespace trackrod {

std::vector<MessageInfo> frames_messages(const FramesSettings& settings) {
  Problems told_already;
  const auto fields = check_frames(settings, told_already);
  std::vector<MessageInfo> all;
  for (const auto& [name, frame] : settings.send) {
    const FrameLayout layout{frame, fields};
    MessageInfo message{name.value, {}, layout.cycle(), layout.counts(), layout.has_checksum(), frame.length.value, {}};
    for (const auto& field : layout.fields()) message.fields.push_back(fields[field.index].name);
    for (int length = 1; length <= longest_frame; ++length)
      if (!frame.can || fits_can(*frame.can, static_cast<std::size_t>(length))) message.lengths.push_back(length);
    all.push_back(std::move(message));
  }
  return all;
}

}  // namespace trackrod
