#include "drivers/protocol/frame_layout.hpp"

#include <algorithm>
#include <bit>
#include <cmath>
#include <limits>

namespace trackrod {

double PackedField::value_in(std::span<const std::byte> frame) const noexcept {
  const auto bits = place.read(frame);
  double count = 0.0;
  if (is_float)
    count = place.bits() == 32 ? static_cast<double>(std::bit_cast<float>(static_cast<std::uint32_t>(bits)))
                               : std::bit_cast<double>(bits);
  else
    count = is_signed ? static_cast<double>(place.read_signed(frame)) : static_cast<double>(bits);
  return scale * count + offset;
}

PackedField::Count PackedField::count_of(double value) const noexcept {
  if (is_float) {
    const double wanted = (value - offset) / scale;
    const double most = place.bits() == 32 ? static_cast<double>(std::numeric_limits<float>::max())
                                           : std::numeric_limits<double>::max();
    const double held = std::clamp(wanted, -most, most);
    const auto bits = place.bits() == 32 ? std::uint64_t{std::bit_cast<std::uint32_t>(static_cast<float>(held))}
                                         : std::bit_cast<std::uint64_t>(held);
    return {bits, held != wanted};
  }
  const double wanted = std::round((value - offset) / scale);
  const double held = std::clamp(wanted, lowest, highest);
  return {static_cast<std::uint64_t>(static_cast<std::int64_t>(held)) & place.mask(), held != wanted};
}

FrameLayout::FrameLayout(const FrameSettings& settings, const std::vector<FieldInfo>& fields)
    : length_{static_cast<std::size_t>(settings.length.value)},
      cycle_{settings.period()},
      can_{settings.can},
      pages_{settings.pages()} {
  if (settings.phase) phase_ = settings.phase->value;
  if (settings.on_change) on_change_ = settings.on_change->value;
  if (settings.selector) selector_ = span_of(*settings.selector, settings);
  if (settings.e2e) e2e_ = protection_of(*settings.e2e);
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
    const auto at = std::find_if(fields.begin(), fields.end(),
                                 [&wanted = name.value](const FieldInfo& f) { return f.name == wanted; });
    const auto place = span_of(field, settings);
    const double range = std::ldexp(1.0, place.bits());
    PackedField packed{static_cast<FieldIndex>(at - fields.begin()), place};
    packed.is_signed = field.is_signed;
    packed.is_float = field.is_float;
    packed.scale = field.scale.value;
    packed.offset = field.offset;
    packed.lowest = field.is_signed ? -range / 2 : 0.0;
    packed.highest = field.is_signed ? range / 2 - 1 : range - 1;
    if (field.when) packed.page = static_cast<std::uint64_t>(field.when->value);
    fields_.push_back(packed);
  }
}

std::uint32_t FrameLayout::stepped(std::uint32_t counter, int steps) const noexcept {
  if (!e2e_) return counter + static_cast<std::uint32_t>(steps);
  const auto all = static_cast<std::int64_t>(e2e_->counters());
  return static_cast<std::uint32_t>(((counter + std::int64_t{steps}) % all + all) % all);
}

std::uint64_t FrameLayout::counts() const noexcept {
  if (e2e_) return e2e_->counters();
  return counter_ ? std::min<std::uint64_t>(counter_->mask(), UINT32_MAX) + 1 : 0;
}

bool FrameLayout::intact(std::span<const std::byte> frame) const noexcept {
  return matches(frame) && (!check_ || check_->place.read(frame) == check_->of(frame)) &&
         (!e2e_ || e2e_->intact(frame));
}

void FrameLayout::finish(std::span<std::byte> frame, std::uint32_t counter, BenchTime now) const noexcept {
  if (match_) match_->write(frame, match_value_);
  if (counter_) counter_->write(frame, counter);
  if (stamp_)
    stamp_->place.write(frame, static_cast<std::uint64_t>(std::floor(seconds(now.time_since_epoch()) / stamp_->tick)));
  if (check_) check_->place.write(frame, check_->of(frame));
  if (e2e_) e2e_->protect(frame, counter);
}

void FrameLayout::spoil(std::span<std::byte> frame) const noexcept {
  if (check_) check_->place.write(frame, ~check_->place.read(frame));
  for (std::size_t i = 0; e2e_ && i < e2e_->checksum_bytes(); ++i) frame[e2e_->at + i] = ~frame[e2e_->at + i];
}

}  // namespace trackrod
