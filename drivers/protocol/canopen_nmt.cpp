#include "drivers/protocol/canopen_nmt.hpp"

namespace trackrod {

const char* nmt_state_name(std::uint8_t state) noexcept {
  switch (static_cast<NmtState>(state)) {
    case NmtState::boot_up:
      return "boot-up";
    case NmtState::stopped:
      return "stopped";
    case NmtState::operational:
      return "operational";
    case NmtState::pre_operational:
      return "pre-operational";
  }
  return "a state that CiA 301 does not know";
}

}  // namespace trackrod
