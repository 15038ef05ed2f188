#pragma once
// End-to-end protection of a frame after the open AUTOSAR specification of the E2E protocol (PRS_E2EProtocol), profiles
// 1, 2 and 5: a counter, and a checksum over the frame and an identifier that does not travel with it, so that a frame
// from the wrong sender is told from the right one. What a receiver concludes: e2e_receiver.hpp.

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>

namespace trackrod {

enum class E2eProfile : std::uint8_t { p01, p02, p05 };

// Profile 1: which part of the 16-bit identifier goes into the checksum. `alternating`: the low byte with an even
// counter, the high byte with an odd one. `nibble`: the low byte; bits 8 to 11 travel in the frame.
enum class E2eIdMode : std::uint8_t { both, alternating, low, nibble };

struct E2e {
  E2eProfile profile{E2eProfile::p01};
  E2eIdMode id_mode{E2eIdMode::both};
  std::uint16_t data_id{0};                 // profiles 1 and 5
  std::array<std::uint8_t, 16> data_ids{};  // profile 2: one for each counter
  std::size_t at{0};                        // first byte of the checksum (profile 2: always 0)
  std::size_t counter_at{8};                // bit of the counter's least significant bit, a multiple of 4
  std::size_t nibble_at{12};                // the same of the identifier's four bits (mode `nibble`)

  // How many different counters there are: 15, 16 or 256.
  unsigned counters() const noexcept;
  // Of the first frame that a sender sends: 0, in profile 2 it is 1.
  unsigned first_counter() const noexcept { return profile == E2eProfile::p02 ? 1 : 0; }
  // Bytes of the frame that belong to the protection alone: from `at` on 1, in profile 5 it is 2.
  std::size_t checksum_bytes() const noexcept { return profile == E2eProfile::p05 ? 2 : 1; }

  // All take a whole frame, which holds at least the bytes named above.
  unsigned counter_in(std::span<const std::byte> frame) const noexcept;
  unsigned checksum_in(std::span<const std::byte> frame) const noexcept;
  unsigned checksum_of(std::span<const std::byte> frame) const noexcept;
  // Checksum, identifier's nibble and range of the counter are right.
  bool intact(std::span<const std::byte> frame) const noexcept;
  void protect(std::span<std::byte> frame, unsigned counter) const noexcept;
};

}  // namespace trackrod
