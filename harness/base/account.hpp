#pragma once
// What a device says of itself when it is asked: who it is, and what its fault memory holds.

#include <cstdint>
#include <string_view>

namespace trackrod {

struct FaultEntry {
  std::uint32_t code{0};   // three bytes
  std::uint8_t status{0};  // bits of ISO 14229-1, annex D.2
};

// Takes it. Neither blocks nor allocates where the loop tells.
class AccountSink {
 public:
  virtual ~AccountSink() = default;
  virtual void identity(std::string_view name, std::string_view text) noexcept = 0;
  // The fault memory was read; what follows is in it.
  virtual void fault_memory() noexcept = 0;
  virtual void fault(FaultEntry entry) noexcept = 0;
};

}  // namespace trackrod
