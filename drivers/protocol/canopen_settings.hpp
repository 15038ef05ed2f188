#pragma once
// What a bench file says about a CANopen device: kind "canopen".

#include <cstdint>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "drivers/protocol/canopen_object.hpp"
#include "harness/base/catalogue.hpp"
#include "harness/base/fields.hpp"

namespace trackrod {

// value = scale * number + offset
struct CanopenValue {
  Located<ObjectAddress> object;
  ObjectType type{ObjectType::i32};
  Located<double> scale{1.0, {}};
  double offset{0.0};
};

struct CanopenRead : CanopenValue {
  std::optional<Duration> every;  // asked for by SDO where no PDO brings it
};

// What must stand in 1018h and 1008h.
struct CanopenIdentity {
  std::optional<std::int64_t> vendor, product, revision, serial;
  std::optional<std::string> name;  // part of it
};

struct CanopenHeartbeat {
  Located<Duration> every;
  Located<Duration> lost_after;
};

// The bench's own heartbeat, which the device watches.
struct CanopenOwnHeartbeat : CanopenHeartbeat {
  Located<int> node;
};

struct CanopenSettings {
  Located<int> node;
  std::optional<int> profile;  // of CiA, such as 402 or 406
  CanopenIdentity identity;
  std::optional<CanopenHeartbeat> heartbeat;
  std::optional<CanopenOwnHeartbeat> own_heartbeat;
  Duration cycle{std::chrono::milliseconds{1}};
  bool sync{false};
  Duration timeout{std::chrono::milliseconds{100}};
  Duration transition_timeout{std::chrono::seconds{1}};
  std::vector<int> also_listen;
  std::vector<std::pair<Name, CanopenRead>> read;
  std::vector<std::pair<Name, CanopenValue>> drive;

  bool is_drive() const { return profile == 402; }
};

const Fields<CanopenSettings>& canopen_fields();
// `read`, `drive`, then the protocol's own: nmt_state; of a drive also drive_state, drive_mode, drive_wanted,
// drive_reset.
std::vector<FieldInfo> check_canopen(const CanopenSettings& settings, Problems& problems);
void check_canopen_over(const CanopenSettings& settings, Carries carries, const Where& link, Problems& problems);

inline constexpr std::size_t most_driven = 25;  // with control word and mode they fill the take-over memory
inline constexpr std::size_t canopen_own_fields = 1, canopen_drive_fields = 4;

}  // namespace trackrod
