#include "drivers/protocol/frames.hpp"

namespace trackrod {
namespace {

std::vector<FieldInfo> seen_from(const FramesSettings& settings, Side side) {
  Problems none;
  auto fields = check_frames(settings, none);
  if (side == Side::peer)
    for (auto& f : fields) std::swap(f.readable, f.drivable);
  return fields;
}

}  // namespace

Frames::Frames(const FramesSettings& settings, Side side)
    : fields_{seen_from(settings, side)},
      receiver_{side == Side::bench ? settings.receive : settings.send, fields_, settings.stream, settings.framing},
      sender_{side == Side::bench ? settings.send : settings.receive, fields_, settings.framing,
              settings.together.value} {}

bool Frames::on_bytes(std::span<const std::byte> bytes, Stamp stamp, FieldSink& sink) noexcept {
  return receiver_.take(bytes, stamp, sink, counters_);
}
std::optional<BenchTime> Frames::on_quiet(BenchTime now, FieldSink& sink) noexcept {
  return receiver_.quiet(now, sink, counters_);
}
void Frames::set(FieldIndex field, double value) noexcept { sender_.set(field, value, counters_); }
std::span<const std::byte> Frames::due(BenchTime now) noexcept { return sender_.due(now); }
bool Frames::settled(FieldIndex field) const noexcept { return sender_.settled(field); }
void Frames::save(std::span<std::uint32_t> words) const noexcept { sender_.save(words); }
void Frames::load(std::span<const std::uint32_t> words) noexcept { sender_.load(words); }

}  // namespace trackrod
