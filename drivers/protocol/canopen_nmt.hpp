#pragma once
// CANopen network management (CiA 301): commands to a node, its heartbeat, and the identifiers that its number gives.

#include <cstdint>

#include "harness/base/time.hpp"

namespace trackrod {

// Identifiers of the pre-defined connection set; all but the first two have the node's number added.
namespace cob {
inline constexpr std::uint32_t nmt = 0x000, sync = 0x080, emergency = 0x080, sdo_from_device = 0x580,
                               sdo_to_device = 0x600, heartbeat = 0x700;
}

enum class NmtCommand : std::uint8_t {
  start = 0x01,
  stop = 0x02,
  enter_pre_operational = 0x80,
  reset_node = 0x81,
  reset_communication = 0x82
};

enum class NmtState : std::uint8_t { boot_up = 0x00, stopped = 0x04, operational = 0x05, pre_operational = 0x7F };
const char* nmt_state_name(std::uint8_t state) noexcept;

// Watches a node's heartbeat.
class HeartbeatWatch {
 public:
  // lost_after zero: silence is never a loss.
  explicit HeartbeatWatch(Duration lost_after) : lost_after_{lost_after} {}

  // Silence counts from here on.
  void heard(BenchTime now) noexcept {
    last_ = now;
    watching_ = true;
  }
  // True once when the silence has become too long.
  bool lost(BenchTime now) noexcept {
    if (!watching_ || lost_after_ == Duration{} || now - last_ <= lost_after_) return false;
    forget();
    return true;
  }
  void forget() noexcept { watching_ = false; }

 private:
  Duration lost_after_;
  BenchTime last_{};
  bool watching_{false};
};

}  // namespace trackrod
