#pragma once
// The description of the rig, checked: every name resolved, every value in its signal's unit.

#include <functional>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "harness/base/catalogue.hpp"
#include "harness/base/error.hpp"
#include "harness/base/problems.hpp"
#include "harness/base/sample.hpp"
#include "harness/base/units.hpp"
#include "harness/bench/fault.hpp"
#include "harness/load/vehicle_parameters.hpp"

namespace trackrod {

// The files that a bench or plan is made of, by path; the same texts go into the run folder.
using Sources = std::vector<std::pair<std::string, std::string>>;

// What a device must say of itself under one name: one of these texts.
struct IdentityText {
  std::string name;                // "serial"
  std::vector<std::string> texts;  // "0042"
};

struct DeviceSpec {
  std::string name;
  Chosen link;                 // kind "udp", "serial", ...; value: that kind's settings
  Chosen protocol;             // kind "frames", "scpi", ...
  Duration timeout{};          // silence longer than this means lost
  Duration clock_asymmetry{};  // see SignalInfo
  std::string clock;
  std::vector<IdentityText> identity;  // what it must say of itself
  bool silent_until_armed{false};      // has no power before: it must be heard once arming is done, not earlier
};

struct SignalSpec {
  SignalInfo info;
  std::size_t device{0};              // index into Bench::devices
  std::string field;                  // name of the field in the device's protocol
  double gain{1.0}, offset{0.0};      // value in the signal's unit = gain * field value + offset (unit and calibration)
  std::optional<double> no_value;     // field value that stands for "no value"
  double rest{0.0};                   // drive: what is sent from arming on until the plan says otherwise
  SignalIndex start_from{no_signal};  // drive: arming starts at the present value of this signal instead of `rest`
  double max_jerk{0.0};               // drive: unit/s^3; 0 = unlimited
  bool counted{true};                 // drive: FieldInfo::counted
  std::optional<ListAbility> list;    // drive: FieldInfo::list
};

enum class ControlMode : std::uint8_t { position, velocity, torque, impedance, free };
std::string control_mode_name(ControlMode mode);

// A driven axis and the modes its drive knows. In `free` there is no setpoint.
struct AxisMode {
  ControlMode mode{ControlMode::position};
  double code{0.0};  // what is written to the axis' mode signal
  SignalIndex setpoint{no_signal};
};
struct AxisSpec {
  std::string name;
  SignalIndex mode_signal{no_signal};
  std::vector<AxisMode> modes;
};

// True while low <= value <= high. A value that is stale, lost or not a number meets no condition.
struct Condition {
  SignalIndex signal{no_signal};
  double low{0.0}, high{0.0};
  bool met_by(double value) const { return value >= low && value <= high; }
};

// How a person shows, each shift, that an interlock would trip.
enum class Proof : std::uint8_t {
  none,      // nobody is asked
  exercise,  // it is broken on purpose and seen to be broken
  confirm,   // a person says that it was looked at
};

struct Interlock {
  std::string name;
  Condition condition;
  Duration grace{};      // may be broken for this long before the bench trips
  std::string protects;  // in words
  Proof proof{Proof::none};
};

// What limits a hazard of the bench when every program fails: something wired.
struct HardLimit {
  std::string hazard, by;  // one of hazard_names(); in words
  std::string checked;     // ISO 8601, the day on which it was seen to work
};
const std::vector<std::string>& hazard_names();

// A fault of the catalogue: how it is made, and how it shows that it was.
struct FaultSpec {
  std::string name, what;  // `what`: in words
  FaultWay way;
  std::optional<Intermittence> comes_and_goes;
  // Met while the fault is there and not otherwise, each at most `shows_within` after it was made or removed. None:
  // what the harness sends is known to be wrong from when it was sent. Of messages always none: their sender tells.
  std::optional<Condition> shows;
  Duration shows_within{};
  std::vector<std::size_t> not_with;  // indices into Bench::faults: never together with one of these
  bool two_persons{false};            // made only when two persons confirmed
  bool energetic{false};              // made only where every hazard is limited by something wired
};

// One line of a sequence: write a value, or wait until a condition holds.
struct Action {
  enum class Kind : std::uint8_t { set, wait } kind{Kind::set};
  SignalIndex signal{no_signal};  // set
  double value{0.0};              // set
  Condition until;                // wait
  Duration at_most{};             // wait
};

struct SafeState {
  std::vector<Action> actions;  // in order; a failed one does not stop the rest
  Duration within{};            // the longest the whole sequence may take
};

// What the unit under test is declared to do, where criteria need it.
struct UnitSpec {
  std::string name;
  std::string serial;
  std::string description;
  std::optional<std::size_t> device{};   // index into Bench::devices: the one through which it says what it is
  std::vector<IdentityText> identity{};  // what it must say there
};

// What the vehicle that the bench plays to the unit can do. It limits nothing: see max_slew and range.
struct VehicleSpec {
  SignalIndex speed{no_signal};           // driven
  std::vector<SignalIndex> wheel_speeds;  // driven, in the unit of `speed`
  double max_speed{0.0};                  // in the unit of `speed`, either way
  double max_acceleration{0.0};           // that unit per second, of the amount of the speed
  double max_deceleration{0.0};           // as above, positive
  double wheel_agreement{0.0};            // most that a wheel speed may differ from `speed`, in its unit
  SignalIndex yaw_rate{no_signal};        // driven
  double lateral_gain{0.0};               // m/s^2 for one unit of speed times one unit of the rate of yaw
  double max_lateral_acceleration{0.0};   // m/s^2, either way
  SignalIndex power_mode{no_signal};      // driven
  double power_on{0.0};                   // its least value in a vehicle that moves
};

// What was measured of the loop that the load model closes, all of it: sensor, bus, tick, actuator, rack.
struct LoadStability {
  Duration delay{};
  double damping{0.0};  // N s/m at the bench's rack
  // N/m: half of damping by delay. A spring that is late gives back more than it took.
  double most_stiffness() const { return 0.5 * damping / seconds(delay); }
};

// How much energy the load may give to the rack, on balance, in about `within`: a spring gives back what was put into
// it and no more; one that is late gives more at every turn.
struct LoadEnergy {
  SignalIndex force{no_signal};  // read: measured at the rack, positive as the driven one
  double force_gain{0.0};        // N for one unit of it
  double at_most{0.0};           // W s
  Duration within{};
};

// The vehicle whose load the bench puts on the rack, and what the model of it reads and drives.
struct LoadSpec {
  VehicleParameters vehicle;
  SignalIndex angle{no_signal};                                      // read: of the road wheel, or travel of the rack
  SignalIndex speed{no_signal};                                      // driven, but not by the model
  SignalIndex force{no_signal};                                      // driven
  SignalIndex yaw_rate{no_signal}, lateral_acceleration{no_signal};  // driven, where the vehicle bus is told of them
  double angle_gain{0.0};  // rad at the bench's road wheel for one unit of `angle`
  double speed_gain{0.0};  // m/s for one unit of `speed`
  double force_gain{0.0}, yaw_gain{0.0}, acceleration_gain{0.0};  // units of the signal for one N, rad/s, m/s^2
  Duration stale{};  // an angle older than this is none: the load runs to zero
  Duration fade{};   // in which the load comes in, and runs to zero
  std::optional<LoadStability> stability;
  std::optional<LoadEnergy> energy;

  // The signals that the model drives.
  std::vector<SignalIndex> drives() const;
};

// How the unit is held, for the record.
struct ClampedPart {
  std::string part;  // its name
  std::string to;    // to what and how, in words
  std::optional<Quantity> stiffness, inertia;
};
struct Equipment {
  std::string name, what, serial;
  std::string due, certificate;  // of its calibration; empty: it has none
};
// A figure of the rig that a reader needs to judge a result, such as the radius of the rim.
struct Measure {
  std::string name, what;
  Quantity value, u;  // u: standard uncertainty
};
// Rack travel and the angle of the road wheel that belongs to it.
struct RackPoint {
  Quantity travel, angle, u;  // u: of the angle
};
// What a relay does to which wire.
struct WireSpec {
  std::string wire, where, closed;  // where: connector and pin; closed: what a closed relay does to it
  SignalIndex signal{no_signal};    // that drives the relay
  std::string checked;              // ISO 8601: continuity found right with the unit disconnected; empty: never
};
struct FixtureSpec {
  std::vector<ClampedPart> clamped;
  std::vector<Equipment> equipment;
  std::vector<Measure> measures;
  std::vector<RackPoint> rack_curve;  // by travel, growing
  std::vector<WireSpec> wires;
};

struct Bench {
  std::string name;
  std::string description;
  std::string file;
  UnitSpec unit;
  Duration tick{};  // period of the loop
  std::vector<DeviceSpec> devices;
  std::vector<SignalSpec> signals;  // position = SignalIndex
  std::vector<AxisSpec> axes;
  std::vector<Interlock> interlocks;
  Duration proof_lasts{};  // proofs of interlocks older than this are none
  std::vector<HardLimit> hard_limits;
  bool unattended{false};  // may run while nobody stands at it
  std::vector<Action> arming;
  SafeState safe_state;
  std::optional<VehicleSpec> vehicle;
  std::optional<LoadSpec> load;
  std::vector<FaultSpec> faults;
  FixtureSpec fixture;

  std::optional<SignalIndex> find(const std::string& signal) const;
  std::optional<std::size_t> find_device(const std::string& device) const;
  std::optional<std::size_t> find_fault(const std::string& fault) const;
  std::vector<std::string> signal_names() const;
  // As the capture keeps them.
  std::vector<SignalInfo> signal_infos() const;
};

// Reads `path` and the files it includes. Error kind bad_input or storage.
Result<Sources> load_bench_sources(const std::string& path);
// Checks and resolves. The first source is the bench file. Null when there are problems. Touches no device and no file.
std::unique_ptr<Bench> parse_bench(const Sources& sources, const Catalogue& catalogue, Problems& problems);
// The JSON Schema of bench files, for editors.
std::string bench_schema(const Catalogue& catalogue);

}  // namespace trackrod
