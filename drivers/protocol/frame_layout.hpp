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
#include "drivers/protocol/e2e.hpp"
#include "drivers/protocol/frames_settings.hpp"
#include "drivers/protocol/protocol.hpp"

namespace trackrod {

// A value in a frame. value = scale * count + offset.
struct PackedField {
  FieldIndex index{0};
  BitSpan place;
  bool is_signed{false}, is_float{false};
  double scale{1.0}, offset{0.0};
  double lowest{0.0}, highest{0.0};     // counts it can hold
  std::optional<std::uint64_t> page{};  // present only with this value of the selector

  double value_in(std::span<const std::byte> frame) const noexcept;
  struct Count {
    std::uint64_t bits;  // as they go into the frame
    bool clamped;        // the value was beyond what the field holds
  };
  // The nearest count; of a floating-point field the nearest number. `value` is finite.
  Count count_of(double value) const noexcept;
};

class FrameLayout {
 public:
  // `fields`: the protocol's, in which the frame's names are found.
  FrameLayout(const FrameSettings& settings, const std::vector<FieldInfo>& fields);

  std::size_t length() const noexcept { return length_; }
  // Zero: sent on a change only.
  Duration cycle() const noexcept { return cycle_; }
  const std::optional<Duration>& phase() const noexcept { return phase_; }
  // Smallest distance of a frame sent on a change; none: it is not.
  const std::optional<Duration>& on_change() const noexcept { return on_change_; }
  const std::optional<CanPlace>& can() const noexcept { return can_; }
  const std::vector<PackedField>& fields() const noexcept { return fields_; }
  const std::optional<BitSpan>& counter() const noexcept { return counter_; }
  const std::optional<E2e>& e2e() const noexcept { return e2e_; }
  const std::optional<BitSpan>& selector() const noexcept { return selector_; }
  // The selector's values; one without a selector.
  const std::vector<std::uint64_t>& pages() const noexcept { return pages_; }
  bool holds(const PackedField& field, std::span<const std::byte> frame) const noexcept {
    return !field.page || selector_->read(frame) == *field.page;
  }

  // The counter of the first frame, and of the one after `counter`.
  std::uint32_t first_counter() const noexcept { return e2e_ ? e2e_->first_counter() : 0; }
  std::uint32_t after(std::uint32_t counter) const noexcept { return stepped(counter, 1); }
  // The counter `steps` further; below 0 so many before.
  std::uint32_t stepped(std::uint32_t counter, int steps) const noexcept;
  // How many different counters the frame holds; 0: it has none.
  std::uint64_t counts() const noexcept;
  bool has_checksum() const noexcept { return check_ || e2e_; }

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
  // Puts match, counter, stamp and checksum, or the end-to-end protection, in.
  void finish(std::span<std::byte> frame, std::uint32_t counter, BenchTime now) const noexcept;
  // Makes the checksum of a finished frame wrong, in all its bits.
  void spoil(std::span<std::byte> frame) const noexcept;

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
  std::optional<Duration> phase_, on_change_;
  std::optional<CanPlace> can_;
  std::optional<BitSpan> match_, counter_, selector_;
  std::optional<E2e> e2e_;
  std::vector<std::uint64_t> pages_;
  std::uint64_t match_value_{0};
  std::optional<DeviceStamp> stamp_;
  std::optional<Check> check_;
  std::vector<PackedField> fields_;
};

}  // namespace trackrod
