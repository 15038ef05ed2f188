#pragma once
// One kind of frame, worked out for the codec: where everything stands and how counts and values turn into each other.

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "drivers/protocol/bits.hpp"
#include "drivers/protocol/checksum.hpp"
#include "drivers/protocol/frames_settings.hpp"
#include "drivers/protocol/protocol.hpp"

namespace trackrod {

// A value in a frame. value = scale * count + offset.
struct PackedField {
  FieldIndex index{0};
  BitSpan place;
  bool is_signed{false};
  double scale{1.0}, offset{0.0};
  double lowest{0.0}, highest{0.0};  // counts it can hold

  double value_in(std::span<const std::byte> frame) const noexcept;
  struct Count {
    std::uint64_t bits;  // as they go into the frame
    bool clamped;        // the value was beyond what the field holds
  };
  // The nearest count. `value` is finite.
  Count count_of(double value) const noexcept;
};

class FrameLayout {
 public:
  // `fields`: the protocol's, in which the frame's names are found.
  FrameLayout(const FrameSettings& settings, const std::vector<FieldInfo>& fields);

  std::size_t length() const noexcept { return length_; }
  Duration cycle() const noexcept { return cycle_; }
  const std::optional<CanPlace>& can() const noexcept { return can_; }
  const std::vector<PackedField>& fields() const noexcept { return fields_; }
  const std::optional<BitSpan>& counter() const noexcept { return counter_; }

  struct DeviceStamp {
    BitSpan place;
    double tick;  // seconds
  };
  const std::optional<DeviceStamp>& stamp() const noexcept { return stamp_; }

  // Bytes that must be there to tell whether it is this frame.
  std::size_t match_end() const noexcept { return match_ ? match_->end() : 0; }
  // Takes at least match_end() bytes.
  bool matches(std::span<const std::byte> bytes) const noexcept {
    return !match_ || match_->read(bytes) == match_value_;
  }
  // Take exactly length() bytes.
  bool intact(std::span<const std::byte> frame) const noexcept;
  // Puts match, counter, stamp and checksum in.
  void finish(std::span<std::byte> frame, std::uint32_t counter, BenchTime now) const noexcept;

 private:
  struct Check {
    const Checksum* kind;
    BitSpan place;
    std::size_t from, to;
    std::uint64_t of(std::span<const std::byte> frame) const noexcept {
      return kind->of(frame.subspan(from, to - from));
    }
  };
  std::size_t length_;
  Duration cycle_;
  std::optional<CanPlace> can_;
  std::optional<BitSpan> match_, counter_;
  std::uint64_t match_value_{0};
  std::optional<DeviceStamp> stamp_;
  std::optional<Check> check_;
  std::vector<PackedField> fields_;
};

}  // namespace trackrod
