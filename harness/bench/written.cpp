#include "harness/bench/written.hpp"

#include <nlohmann/json.hpp>

#include "harness/bench/fault_kinds.hpp"

namespace trackrod::written {
namespace {

constexpr double any = 1e300;
constexpr Duration longest = std::chrono::hours{1};

// Remembers whether the value was taken.
template <class T>
Shape<Part<T>> part(Shape<T> inner) {
  return {[inner](const Node& n, Part<T>& out, Problems& p) {
            out.at = n.at;
            return out.good = inner.read(n, out.value, p);
          },
          inner.schema};
}

Shape<Chosen> one_of_family(std::vector<KindEntry> family) {
  return {[family](const Node& n, Chosen& out, Problems& p) { return read_kind(n, "kind", family, out, p); },
          [family](SchemaBook& b) { return kinds_schema(b, "kind", family); }};
}

Fields<Device> device_fields(const Catalogue& catalogue) {
  std::vector<KindEntry> protocols;
  for (const auto& p : catalogue.protocols) protocols.push_back(p.settings);
  return Fields<Device>{"device", "One addressable thing: how its bytes travel and what they mean"}
      .need("link", &Device::link, one_of_family(catalogue.links), "how the bytes travel")
      .need("protocol", &Device::protocol, one_of_family(protocols), "what the bytes mean")
      .need("timeout", &Device::timeout, located(duration(std::chrono::microseconds{250}, longest)),
            "silence longer than this means that the device is lost, and the bench trips")
      .may("clock_asymmetry", &Device::clock_asymmetry, duration(Duration{0}, std::chrono::seconds{1}),
           "half-width of what an uneven path could shift every time stamp of this device by")
      .may("clock", &Device::clock, word(),
           "name of the clock that stamps its samples; devices that share it share its error; default host")
      .may("identity", &Device::identity, written_identity(),
           "what it must say of itself before the bench moves: name and text, or a list of texts that are allowed")
      .may("silent_until_armed", &Device::silent_until_armed, flag(),
           "true: it has no power before; it must be heard once arming is done, not earlier; default false");
}

}  // namespace

const Fields<Delay>& delay_fields() {
  static const auto fields =
      Fields<Delay>{"delay", "How much earlier than its time stamp a sample shows the world"}
          .need("value", &Delay::value, duration(Duration{0}, std::chrono::seconds{10}),
                "filter, conversion and publishing together")
          .need("u", &Delay::u, duration(Duration{0}, std::chrono::seconds{10}), "standard uncertainty of it");
  return fields;
}

const Fields<Calibration>& calibration_fields() {
  static const auto fields =
      Fields<Calibration>{"calibration", "true value = gain x reading + offset"}
          .may("gain", &Calibration::gain, located(number(-any, any)), "not 0; default 1")
          .may("offset", &Calibration::offset, maybe(any_quantity()), "in the signal's kind of unit; default 0")
          .need("u", &Calibration::u, any_quantity(), "standard uncertainty of a calibrated value")
          .may("gain_u", &Calibration::gain_u, number(0.0, 1.0),
               "the part of it that scales with the reading, relative, e.g. 0.0005")
          .need("date", &Calibration::date, day(), "when it was calibrated")
          .may("due", &Calibration::due, located(day()), "when the calibration lapses")
          .may("certificate", &Calibration::certificate, text(), "number of the certificate");
  return fields;
}

namespace {

const Fields<Signal>& signal_fields() {
  static const auto fields =
      Fields<Signal>{"signal", "One named quantity that the bench reads or drives"}
          .need("device", &Signal::device, name(), "the device that carries it")
          .need("field", &Signal::field, name(),
                "the field in that device's messages, or one that shows its link (\"link.age\")")
          .need("unit", &Signal::unit, unit_name(), "unit of the signal; 1 for a code or a count")
          .may("field_unit", &Signal::field_unit, maybe(unit_name()),
               "unit of the number in the field; default the signal's unit")
          .need("direction", &Signal::direction,
                choice<Direction>({{"read", Direction::read}, {"drive", Direction::drive}}),
                "read: the device tells it; drive: the bench sends it")
          .need("range", &Signal::range, located(list(any_quantity(), 2, 2)),
                "lowest and highest value; a driven signal never leaves it")
          .may("location", &Signal::location, text(), "where it acts or is measured, e.g. hand wheel rim")
          .may("positive", &Signal::positive, text(), "what a positive value means, e.g. left turn")
          .may("bench_owned", &Signal::bench_owned, maybe(located(flag())),
               "read: measured by the bench, not by the unit under test; default false")
          .may("delay", &Signal::delay, maybe(located(object(delay_fields))), "read: delay of the sensor")
          .may("no_value", &Signal::no_value, maybe(located(number(-any, any))),
               "read: the number in the field that stands for no value")
          .may("calibration", &Signal::calibration, maybe(located(object(calibration_fields))),
               "read: calibration of the sensor")
          .may("max_slew", &Signal::max_slew, maybe(any_quantity()), "drive: greatest rate, e.g. 1000 deg/s")
          .may("max_jerk", &Signal::max_jerk, maybe(any_quantity()),
               "drive: greatest third derivative, e.g. 4e6 deg/s^3")
          .may("rest", &Signal::rest, maybe(any_quantity()),
               "drive: value sent from arming on until the plan says otherwise")
          .may("start_from", &Signal::start_from, maybe(name()),
               "drive: arming starts at the present value of this signal, instead of rest");
  return fields;
}

const Fields<Skew>& skew_fields() {
  constexpr Duration most = std::chrono::seconds{10};
  static const auto fields =
      Fields<Skew>{"skew", "How much later a signal shows a motion than another one, as measured between the two"}
          .need("signal", &Skew::signal, name(), "the signal that shows it later, or with a minus earlier")
          .need("against", &Skew::against, name(), "the signal that it was measured against")
          .need("value", &Skew::value, duration(-most, most), "by the stamps alone; takes the place of its 'delay'")
          .need("u", &Skew::u, duration(Duration{0}, most), "standard uncertainty of it")
          .need("date", &Skew::date, day(), "when it was measured; of several entries for a signal the newest counts")
          .may("due", &Skew::due, located(day()), "when it lapses")
          .may("used", &Skew::used, text(), "what it was measured with, in words");
  return fields;
}

const Fields<Mode>& mode_fields() {
  static const auto fields =
      Fields<Mode>{"mode", "A control mode of an axis"}
          .need("code", &Mode::code, located(number(-any, any)), "what is written to the mode signal")
          .need("setpoint", &Mode::setpoint, name(), "the driven signal that is the setpoint in this mode");
  return fields;
}

const Fields<Mode>& free_mode_fields() {
  static const auto fields =
      Fields<Mode>{"free mode", "The mode in which the axis may be moved by hand: no setpoint"}.need(
          "code", &Mode::code, located(number(-any, any)), "what is written to the mode signal");
  return fields;
}

const Fields<Modes>& modes_fields() {
  static const auto fields =
      Fields<Modes>{"modes", "The control modes that the axis' drive knows"}
          .may("position", &Modes::position, maybe(located(object(mode_fields))), "holds an angle or a place")
          .may("velocity", &Modes::velocity, maybe(located(object(mode_fields))), "holds a rate")
          .may("torque", &Modes::torque, maybe(located(object(mode_fields))), "holds a torque or a force")
          .may("impedance", &Modes::impedance, maybe(located(object(mode_fields))),
               "a spring and damper about an angle or a place")
          .may("free", &Modes::free, maybe(located(object(free_mode_fields))), "not driven");
  return fields;
}

const Fields<Axis>& axis_fields() {
  static const auto fields =
      Fields<Axis>{"axis", "A driven axis"}
          .need("mode_signal", &Axis::mode_signal, name(), "the driven signal that carries the mode's code")
          .need("modes", &Axis::modes, located(object(modes_fields)), "the modes and their codes");
  return fields;
}

const Fields<Interlock>& interlock_fields() {
  static const auto fields =
      Fields<Interlock>{"interlock",
                        "A condition that must hold while outputs are live; when it breaks, the bench trips"}
          .need("signal", &Interlock::signal, name(), "a read signal that the bench itself measures (bench_owned)")
          .may("at_least", &Interlock::at_least, maybe(any_quantity()), "lowest value that is still good")
          .may("at_most", &Interlock::at_most, maybe(any_quantity()), "highest value that is still good")
          .need("grace", &Interlock::grace, located(duration(std::chrono::microseconds{1}, std::chrono::seconds{10})),
                "may be broken for this long before the bench trips")
          .need("protects", &Interlock::protects, text(), "what it protects, in words")
          .may("proof", &Interlock::proof,
               maybe(located(choice<Proof>({{"exercise", Proof::exercise}, {"confirm", Proof::confirm}}))),
               "asked for each shift before the bench moves. exercise: a person breaks it and the bench sees that; "
               "confirm: a person says that it was looked at; without it nothing is asked");
  return fields;
}

const Fields<HardLimit>& hard_limit_fields() {
  static const auto fields =
      Fields<HardLimit>{"hard limit", "What limits a hazard without this program, the unit or the sensor that controls"}
          .need("by", &HardLimit::by, text(), "what it is and where it limits, in words")
          .need("checked", &HardLimit::checked, day(), "when it was seen to work");
  return fields;
}

const Fields<Hazards>& hazards_fields() {
  static const auto fields =
      Fields<Hazards>{"hazards", "The hazards of the bench and the hard-wired limit of each"}
          .may("over_torque", &Hazards::over_torque, maybe(object(hard_limit_fields)), "torque and force")
          .may("over_travel", &Hazards::over_travel, maybe(object(hard_limit_fields)), "the ends of a motion")
          .may("over_current", &Hazards::over_current, maybe(object(hard_limit_fields)), "wires and connectors")
          .may("over_temperature", &Hazards::over_temperature, maybe(object(hard_limit_fields)), "motors and loads")
          .may("stored_energy", &Hazards::stored_energy, maybe(object(hard_limit_fields)),
               "capacitors, springs, batteries");
  return fields;
}

const Fields<Action>& set_fields() {
  static const auto fields = Fields<Action>{"set", "Writes a value"}
                                 .need("set", &Action::signal, name(), "the driven signal")
                                 .need("to", &Action::to, any_quantity(), "the value");
  return fields;
}

const Fields<Action>& wait_fields() {
  static const auto fields =
      Fields<Action>{"wait", "Waits until a signal is within limits"}
          .need("wait", &Action::signal, name(), "the read signal")
          .may("at_least", &Action::at_least, maybe(any_quantity()), "lowest value waited for")
          .may("at_most", &Action::at_most, maybe(any_quantity()), "highest value waited for")
          .need("within", &Action::within, located(duration(std::chrono::microseconds{1}, longest)),
                "longest wait; not reached by then = failed");
  return fields;
}

// A line of a sequence: the key `set` or `wait` tells which.
Shape<Action> action() {
  return {
      [](const Node& n, Action& out, Problems& p) {
        out.at = n.at;
        const bool sets = n.find("set") != nullptr, waits = n.find("wait") != nullptr;
        if (n.kind != Node::Kind::object || sets == waits) {
          const auto found = n.kind != Node::Kind::object ? n.shown()
                             : sets                       ? "both 'set' and 'wait'"
                                                          : "neither 'set' nor 'wait'";
          p.add(
              n.at, "found " + found,
              R"({"set": SIGNAL, "to": VALUE} or {"wait": SIGNAL, "at_least": VALUE, "at_most": VALUE, "within": TIME})");
          return false;
        }
        out.sets = sets;
        return (sets ? set_fields() : wait_fields()).read(n, out, p);
      },
      [](SchemaBook& b) {
        return std::make_shared<nlohmann::json>(
            nlohmann::json{{"oneOf", {*set_fields().schema(b), *wait_fields().schema(b)}}});
      }};
}

const Fields<SafeState>& safe_state_fields() {
  static const auto fields =
      Fields<SafeState>{"safe_state", "The ordered writes that make the bench harmless, and the proof that they did"}
          .need("within", &SafeState::within, located(duration(std::chrono::milliseconds{1}, longest)),
                "the longest the whole sequence may take")
          .need("do", &SafeState::actions, located(list(part(action()), 1)),
                "in order; a failed line does not stop the rest");
  return fields;
}

const Fields<Vehicle>& vehicle_fields() {
  static const auto fields =
      Fields<Vehicle>{"vehicle", "What the vehicle that the bench plays to the unit can do"}
          .need("speed", &Vehicle::speed, name(), "the driven signal that is the speed of the vehicle")
          .need("max_speed", &Vehicle::max_speed, any_quantity(), "greatest speed, either way")
          .need("max_acceleration", &Vehicle::max_acceleration, any_quantity(), "fastest gain of speed, e.g. 4 m/s^2")
          .need("max_deceleration", &Vehicle::max_deceleration, any_quantity(), "fastest loss of speed, e.g. 10 m/s^2")
          .may("wheel_speeds", &Vehicle::wheel_speeds, list(name()), "the driven signals that are speeds of wheels")
          .may("wheel_agreement", &Vehicle::wheel_agreement, maybe(any_quantity()),
               "most that a wheel's speed may differ from the vehicle's; needed with 'wheel_speeds'")
          .may("yaw_rate", &Vehicle::yaw_rate, maybe(name()), "the driven signal that is the vehicle's rate of yaw")
          .may("max_lateral_acceleration", &Vehicle::max_lateral_acceleration, maybe(any_quantity()),
               "greatest product of speed and rate of yaw, e.g. 9 m/s^2; needed with 'yaw_rate'")
          .may("power_mode", &Vehicle::power_mode, maybe(name()),
               "the driven signal that says how far the vehicle is switched on, such as its ignition")
          .may("power_on", &Vehicle::power_on, maybe(number(-1e9, 1e9)),
               "its least value in a vehicle that moves; needed with 'power_mode'");
  return fields;
}

const Fields<Stability>& stability_fields() {
  static const auto fields =
      Fields<Stability>{"stability", "What was measured of the loop that the load model closes"}
          .need("delay", &Stability::delay, duration(std::chrono::microseconds{1}, std::chrono::seconds{1}),
                "from a motion of the rack to the force that answers it: sensor, bus, tick and actuator")
          .need("damping", &Stability::damping, quantity("N.s/m", 1.0, 1e9),
                "of the rack on the bench, e.g. 14 kN.s/m");
  return fields;
}

const Fields<LoadEnergy>& load_energy_fields() {
  static const auto fields =
      Fields<LoadEnergy>{"energy of the load", "How much energy the load may give to the rack, on balance"}
          .need("force", &LoadEnergy::force, name(), "the read signal (bench_owned) that is the force at the rack")
          .need("at_most", &LoadEnergy::at_most, any_quantity(), "beyond it the bench trips, e.g. 40 W.s")
          .need("within", &LoadEnergy::within, duration(std::chrono::milliseconds{10}, std::chrono::minutes{1}),
                "what was given longer ago than about this is forgotten");
  return fields;
}

const Fields<Load>& load_fields() {
  static const auto fields =
      Fields<Load>{"load", "The vehicle whose load the bench puts on the rack, while a plan asks for it"}
          .need("vehicle", &Load::vehicle, trackrod::vehicle(), "the vehicle")
          .need("angle", &Load::angle, name(),
                "the read signal (bench_owned) that is the angle of the road wheel, or the travel of the rack")
          .need("speed", &Load::speed, name(), "the driven signal that is the speed of the vehicle")
          .need("force", &Load::force, name(), "the driven signal that is the setpoint of the force at the rack")
          .may("yaw_rate", &Load::yaw_rate, maybe(name()), "the driven signal that tells the vehicle's rate of yaw")
          .may("lateral_acceleration", &Load::lateral_acceleration, maybe(name()),
               "the driven signal that tells the vehicle's lateral acceleration")
          .need("stale", &Load::stale, located(duration(std::chrono::microseconds{1}, std::chrono::seconds{1})),
                "an angle older than this is none: the load runs to zero")
          .need("fade", &Load::fade, duration(std::chrono::milliseconds{1}, std::chrono::seconds{10}),
                "time in which the load comes in, and in which it runs to zero")
          .may("stability", &Load::stability, maybe(located(object(stability_fields))),
               "what was measured of the loop: a vehicle that is too stiff for it is refused")
          .may("energy", &Load::energy, maybe(object(load_energy_fields)),
               "how much energy the load may give to the rack: more than a spring has means that the loop swings");
  return fields;
}

const Fields<Intermittence>& intermittence_fields() {
  static const auto fields =
      Fields<Intermittence>{"intermittence", "A fault that comes and goes"}
          .need("period", &Intermittence::period, duration(std::chrono::milliseconds{2}, longest),
                "in each it is there once")
          .need("share", &Intermittence::share, number(0.01, 0.99), "of the period for which it is there")
          .may("seed", &Intermittence::seed, integer<std::uint64_t>(0, INT64_MAX), "of where in the period; default 1");
  return fields;
}

const Fields<FaultSign>& fault_sign_fields() {
  static const auto fields =
      Fields<FaultSign>{"sign of a fault", "What the bench measures while the fault is there, and not otherwise"}
          .need("signal", &FaultSign::signal, name(), "a read signal that the bench itself measures (bench_owned)")
          .may("at_least", &FaultSign::at_least, maybe(any_quantity()), "lowest value with the fault")
          .may("at_most", &FaultSign::at_most, maybe(any_quantity()), "highest value with the fault")
          .need("within", &FaultSign::within, duration(std::chrono::microseconds{1}, longest),
                "how long after it was made, or removed, it shows at the latest");
  return fields;
}

Fields<Fault> fault_fields() {
  return Fields<Fault>{"fault", "One fault of the catalogue"}
      .need("what", &Fault::what, text(), "what is wrong then, in words")
      .need("make", &Fault::make, one_of_family(fault_kinds()), "how it is made")
      .may("comes_and_goes", &Fault::comes_and_goes, maybe(object(intermittence_fields)),
           "not there all the time, but now and then")
      .may("shows", &Fault::shows, maybe(located(object(fault_sign_fields))),
           "how the bench sees that it was made; needed where a relay or a supply makes it")
      .may("not_with", &Fault::not_with, list(name()), "faults that must not be made together with it")
      .may("two_persons", &Fault::two_persons, flag(), "true: made only when two persons confirmed; default false")
      .may("energetic", &Fault::energetic, located(flag()),
           "true: the unit may drive with full torque, or much current flow; needs every one of 'hazards'; default "
           "false");
}

const Fields<Clamp>& clamp_fields() {
  static const auto fields =
      Fields<Clamp>{"clamp", "How a part is held"}
          .need("to", &Clamp::to, text(), "to what and how, in words")
          .may("stiffness", &Clamp::stiffness, maybe(any_quantity()), "of the hold, e.g. 900 Nm/rad or 40 kN/mm")
          .may("inertia", &Clamp::inertia, maybe(any_quantity()),
               "of what moves with the part, e.g. 0.04 kg.m^2 or 3 kg");
  return fields;
}

const Fields<Equipment>& equipment_fields() {
  static const auto fields = Fields<Equipment>{"equipment", "One piece of equipment"}
                                 .need("what", &Equipment::what, text(), "what it is, in words")
                                 .need("serial", &Equipment::serial, text(), "its serial number")
                                 .may("due", &Equipment::due, day(), "when its calibration lapses")
                                 .may("certificate", &Equipment::certificate, text(), "number of the certificate");
  return fields;
}

const Fields<Measure>& measure_fields() {
  static const auto fields = Fields<Measure>{"measure", "A figure of the rig"}
                                 .need("what", &Measure::what, text(), "what it is, in words")
                                 .need("value", &Measure::value, any_quantity(), "e.g. 0.19 m")
                                 .need("u", &Measure::u, any_quantity(), "its standard uncertainty");
  return fields;
}

const Fields<RackPoint>& rack_point_fields() {
  static const auto fields =
      Fields<RackPoint>{"rack point", "A point of the curve of road-wheel angle over rack travel"}
          .need("travel", &RackPoint::travel, any_quantity(), "of the rack, e.g. 20 mm")
          .need("angle", &RackPoint::angle, any_quantity(), "of the road wheel, e.g. 8.3 deg")
          .need("u", &RackPoint::u, any_quantity(), "standard uncertainty of the angle");
  return fields;
}

const Fields<Wire>& wire_fields() {
  static const auto fields =
      Fields<Wire>{"wire", "What a relay does to which wire"}
          .need("signal", &Wire::signal, name(), "the driven signal that switches the relay")
          .need("where", &Wire::where, text(), "connector and pin, in words")
          .need("closed", &Wire::closed, text(), "what the closed relay does to the wire, in words")
          .may("checked", &Wire::checked, day(), "when continuity was found right with the unit disconnected");
  return fields;
}

const Fields<Fixture>& fixture_fields() {
  static const auto fields =
      Fields<Fixture>{"fixture", "How the unit is held and with what it is measured, for the record"}
          .may("clamped", &Fixture::clamped, dictionary(object(clamp_fields)), "the parts that are held, by name")
          .may("equipment", &Fixture::equipment, dictionary(object(equipment_fields)), "the equipment, by name")
          .may("measures", &Fixture::measures, dictionary(part(object(measure_fields))),
               "figures of the rig, by name: inertia of the wheel, radius of the rim, mass between load cell and rack")
          .may("rack_curve", &Fixture::rack_curve, list(part(object(rack_point_fields)), 2),
               "road-wheel angle over rack travel, travel growing")
          .may("wires", &Fixture::wires, dictionary(part(object(wire_fields))),
               "the wires that relays switch, by name; each relay once");
  return fields;
}

const Fields<UnderTest>& unit_fields() {
  static const auto fields =
      Fields<UnderTest>{"unit", "The unit under test"}
          .need("name", &UnderTest::name, text(), "what it is called")
          .may("serial", &UnderTest::serial, located(text()), "its serial number")
          .may("description", &UnderTest::description, text(), "in words")
          .may("device", &UnderTest::device, maybe(name()),
               "the device through which it says what it is, as one of protocol 'uds'; if that tells a 'serial', it "
               "must be the one above")
          .may("identity", &UnderTest::identity, written_identity(),
               "what it must say there besides: name and text, or a list of texts that are allowed");
  return fields;
}

template <class T>
Fields<T>& add_contents(Fields<T>& fields, const Catalogue& catalogue) {
  return fields
      .may("devices", &Contents::devices, part(dictionary(part(object(device_fields(catalogue))))),
           "the devices, by name")
      .may("signals", &Contents::signals, part(dictionary(part(object(signal_fields)))), "the signals, by name")
      .may("skews", &Contents::skews, list(part(object(skew_fields))), "measured skews of pairs of signals");
}

}  // namespace

Fields<Bench> bench_fields(const Catalogue& catalogue) {
  Fields<Bench> fields{"bench file", "The description of a rig: devices, signals, limits and the safe state"};
  fields.need("bench", &Bench::name, text(), "name of the bench")
      .may("description", &Bench::description, text(), "in words")
      .need("loop_rate", &Bench::loop_rate, located(quantity("Hz", 100.0, 4000.0)),
            "ticks of the loop per second, e.g. 1 kHz")
      .need("unit", &Bench::unit, object(unit_fields), "the unit under test")
      .may("like", &Bench::like, text(),
           "another bench file, relative to this one, that holds all that is not in this one")
      .may("include", &Bench::include, list(located(text())),
           "files with more devices, signals and skews, relative to this one");
  add_contents(fields, catalogue)
      .may("axes", &Bench::axes, dictionary(part(object(axis_fields))),
           "the driven axes and their control modes, by name")
      .need("interlocks", &Bench::interlocks, dictionary(part(object(interlock_fields))),
            "the interlocks, by name; {} where there are none")
      .may("proof_lasts", &Bench::proof_lasts, duration(std::chrono::minutes{1}, std::chrono::hours{24}),
           "how long the proof of an interlock counts; a shift; default 12 h")
      .may("hazards", &Bench::hazards, part(object(hazards_fields)), "what is wired to limit each hazard")
      .may("unattended", &Bench::unattended, located(flag()),
           "true: it may run while nobody stands at it; needs every one of 'hazards'; default false")
      .may("arming", &Bench::arming, list(part(action())), "what is done in order before the bench counts as armed")
      .need("safe_state", &Bench::safe_state, part(object(safe_state_fields)), "what makes the bench harmless")
      .may("vehicle", &Bench::vehicle, maybe(part(object(vehicle_fields))),
           "what the vehicle that the bench plays to the unit can do")
      .may("load", &Bench::load, maybe(part(object(load_fields))),
           "the vehicle whose load the bench puts on the rack, and what the model of it reads and drives")
      .may("faults", &Bench::faults, dictionary(part(object(fault_fields()))),
           "the faults that the bench can make, by name")
      .may("fixture", &Bench::fixture, object(fixture_fields), "how the unit is held and with what it is measured");
  return fields;
}

Fields<Contents> included_fields(const Catalogue& catalogue) {
  Fields<Contents> fields{"included file", "Devices, signals and calibrations that bench files include"};
  add_contents(fields, catalogue);
  return fields;
}

}  // namespace trackrod::written

namespace trackrod {

std::string bench_schema(const Catalogue& catalogue) {
  SchemaBook book;
  const auto fields = written::bench_fields(catalogue);
  const auto root = fields.schema(book);
  auto document = nlohmann::json::parse(book.document("trackrod bench file", root));
  // What a bench has from the one that it is like, its own file need not have.
  const auto reference = document.at("allOf").at(0).at("$ref").get<std::string>();
  auto& bench = document.at(nlohmann::json::json_pointer{reference.substr(1)});
  auto needed = nlohmann::json::object({{"required", bench.at("required")}});
  bench.erase("required");
  bench["anyOf"] = nlohmann::json::array({needed, {{"required", nlohmann::json::array({"like"})}}});
  return document.dump(2) + "\n";
}

}  // namespace trackrod
