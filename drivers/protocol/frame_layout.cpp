#include "drivers/protocol/frame_layout.hpp"

#include <algorithm>
#include <cmath>

namespace trackrod {

double PackedField::value_in(std::span<const std::byte> frame) const noexcept {
  const double count =
      is_signed ? static_cast<double>(place.read_signed(frame)) : static_cast<double>(place.read(frame));
  return scale * count + offset;
}

PackedField::Count PackedField::count_of(double value) const noexcept {
  const double wanted = std::round((value - offset) / scale);
  const double held = std::clamp(wanted, lowest, highest);
  return {static_cast<std::uint64_t>(static_cast<std::int64_t>(held)) & place.mask(), held != wanted};
}

FrameLayout::FrameLayout(const FrameSettings& settings, const std::vector<FieldInfo>& fields)
    : length_{static_cast<std::size_t>(settings.length.value)}, cycle_{settings.cycle}, can_{settings.can} {
  if (settings.match) {
    match_ = span_of(*settings.match, settings);
    match_value_ = static_cast<std::uint64_t>(settings.match->value.value);
  }
  if (settings.counter) counter_ = span_of(*settings.counter, settings);
  if (settings.stamp) stamp_ = DeviceStamp{span_of(*settings.stamp, settings), settings.stamp->tick};
  if (settings.checksum) {
    const auto& s = *settings.checksum;
    const auto* kind = find_checksum(s.kind.value);
    const auto order = s.order.value_or(settings.order);
    const BitSpan place{s.at.value * 8 + (order == ByteOrder::big ? 7 : 0), kind->bytes() * 8, order};
    check_ =
        Check{kind, place, static_cast<std::size_t>(s.from.value), static_cast<std::size_t>(s.to.value_or(s.at.value))};
  }
  for (const auto& [name, field] : settings.fields) {
    const auto at =
        std::find_if(fields.begin(), fields.end(), [&](const FieldInfo& f) { return f.name == name.value; });
    const auto place = span_of(field, settings);
    const double range = std::ldexp(1.0, place.bits());
    fields_.push_back({static_cast<FieldIndex>(at - fields.begin()), place, field.is_signed, field.scale.value,
                       field.offset, field.is_signed ? -range / 2 : 0.0, field.is_signed ? range / 2 - 1 : range - 1});
  }
}

bool FrameLayout::intact(std::span<const std::byte> frame) const noexcept {
  return matches(frame) && (!check_ || check_->place.read(frame) == check_->of(frame));
}

void FrameLayout::finish(std::span<std::byte> frame, std::uint32_t counter, BenchTime now) const noexcept {
  if (match_) match_->write(frame, match_value_);
  if (counter_) counter_->write(frame, counter);
  if (stamp_)
    stamp_->place.write(frame, static_cast<std::uint64_t>(std::floor(seconds(now.time_since_epoch()) / stamp_->tick)));
  if (check_) check_->place.write(frame, check_->of(frame));
}

}  // namespace trackrod
