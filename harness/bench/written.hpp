#pragma once
// The bench file as it is written: every value checked for itself and carrying its place, names not yet looked up and
// quantities not yet converted. resolve.hpp makes a Bench of it.

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "harness/bench/bench.hpp"
#include "harness/bench/identity.hpp"

namespace trackrod::written {

// A part of the file that may have been refused: what refers to it by name stays silent about it then.
template <class T>
struct Part {
  T value{};
  bool good{false};
  Where at;
};
template <class T>
using Dictionary = std::vector<std::pair<Name, T>>;
using LocatedQuantity = Located<Quantity>;

struct Device {
  Chosen link, protocol;
  Located<Duration> timeout;
  Duration clock_asymmetry{};
  std::string clock{"host"};
  WrittenIdentity identity;
  bool silent_until_armed{false};
};

struct UnderTest {
  std::string name, description;
  Name serial;
  std::optional<Name> device;
  WrittenIdentity identity;
};

struct Delay {
  Duration value{}, u{};
};

struct Calibration {
  Located<double> gain{1.0, {}};
  std::optional<LocatedQuantity> offset;
  LocatedQuantity u;
  double gain_u{0.0};
  std::string date;
  Located<std::string> due;
  std::string certificate;
};

struct Signal {
  Name device, field;
  Located<Unit> unit;
  std::optional<Located<Unit>> field_unit;
  Direction direction{Direction::read};
  Located<std::vector<LocatedQuantity>> range;
  std::string location, positive;
  // of read signals
  std::optional<Located<bool>> bench_owned;
  std::optional<Located<Delay>> delay;
  std::optional<Located<double>> no_value;
  std::optional<Located<Calibration>> calibration;
  // of driven signals
  std::optional<LocatedQuantity> max_slew, max_jerk, rest;
  std::optional<Name> start_from;
};

struct Mode {
  Located<double> code;
  Name setpoint;  // empty for the mode `free`
};
struct Modes {
  std::optional<Located<Mode>> position, velocity, torque, impedance, free;
};
struct Axis {
  Name mode_signal;
  Located<Modes> modes;
};

struct Limits {
  std::optional<LocatedQuantity> at_least, at_most;
};
struct Interlock : Limits {
  Name signal;
  Located<Duration> grace;
  std::string protects;
  std::optional<Located<Proof>> proof;
};

struct HardLimit {
  std::string by, checked;
};
struct Hazards {
  std::optional<HardLimit> over_torque, over_travel, over_current, over_temperature, stored_energy;
};

struct Action : Limits {
  bool sets{false};  // else it waits
  Where at;
  Name signal;
  LocatedQuantity to;        // set
  Located<Duration> within;  // wait
};
struct SafeState {
  Located<Duration> within;
  Located<std::vector<Part<Action>>> actions;
};

struct Vehicle {
  Name speed;
  LocatedQuantity max_speed, max_acceleration, max_deceleration;
  std::vector<Name> wheel_speeds;
  std::optional<LocatedQuantity> wheel_agreement;
  std::optional<Name> yaw_rate, power_mode;
  std::optional<LocatedQuantity> max_lateral_acceleration;
  std::optional<double> power_on;
};

struct Stability {
  Duration delay{};
  double damping{0.0};  // N s/m
};
struct LoadEnergy {
  Name force;
  LocatedQuantity at_most;
  Duration within{};
};
struct Load {
  VehicleParameters vehicle;
  Name angle, speed, force;
  std::optional<Name> yaw_rate, lateral_acceleration;
  Located<Duration> stale;
  Duration fade{};
  std::optional<Located<Stability>> stability;
  std::optional<LoadEnergy> energy;
};

struct FaultSign : Limits {
  Name signal;
  Duration within{};
};
struct Fault {
  std::string what;
  Chosen make;
  std::optional<Intermittence> comes_and_goes;
  std::optional<Located<FaultSign>> shows;
  std::vector<Name> not_with;
  bool two_persons{false};
  Located<bool> energetic{false, {}};
};

struct Clamp {
  std::string to;
  std::optional<LocatedQuantity> stiffness, inertia;
};
struct Measure {
  std::string what;
  LocatedQuantity value, u;
};
struct RackPoint {
  LocatedQuantity travel, angle, u;
};
struct Wire {
  std::string where, closed, checked;
  Name signal;
};
struct Fixture {
  Dictionary<Clamp> clamped;
  Dictionary<Equipment> equipment;
  Dictionary<Part<Measure>> measures;
  std::vector<Part<RackPoint>> rack_curve;
  Dictionary<Part<Wire>> wires;
};

struct Skew {
  Name signal, against;
  Duration value{}, u{};
  std::string date;
  Located<std::string> due;
  std::string used;
};

// What the bench file and the files it includes have in common.
struct Contents {
  Part<Dictionary<Part<Device>>> devices;
  Part<Dictionary<Part<Signal>>> signals;
  std::vector<Part<Skew>> skews;
};

struct Bench : Contents {
  Where at;
  std::string name, description;
  Located<double> loop_rate;  // Hz
  UnderTest unit;
  std::string like;
  std::vector<Located<std::string>> include;
  Dictionary<Part<Axis>> axes;
  Dictionary<Part<Interlock>> interlocks;
  Duration proof_lasts{std::chrono::hours{12}};
  Part<Hazards> hazards;
  Located<bool> unattended{false, {}};
  std::vector<Part<Action>> arming;
  Part<SafeState> safe_state;
  std::optional<Part<Vehicle>> vehicle;
  std::optional<Part<Load>> load;
  Dictionary<Part<Fault>> faults;
  Fixture fixture;
};

// The field tables of a bench file and of a file it includes; link and protocol settings come from the catalogue.
Fields<Bench> bench_fields(const Catalogue& catalogue);
Fields<Contents> included_fields(const Catalogue& catalogue);
// Of a sensor, wherever it is described.
const Fields<Delay>& delay_fields();
const Fields<Calibration>& calibration_fields();

}  // namespace trackrod::written
