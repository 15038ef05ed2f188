#pragma once
// A Bench while it is being worked out. Everything found wrong goes to `problems`; what rests on a part that was
// refused keeps silent, so that one mistake gives one message.

#include <optional>
#include <string>
#include <vector>

#include "harness/bench/written.hpp"

namespace trackrod {

struct Draft {
  explicit Draft(Problems& p) : problems{p} {}

  struct DeviceState {
    bool sound{false};
    std::vector<FieldInfo> fields;
    std::vector<MessageInfo> messages;  // that can be made wrong
  };
  struct SignalState {
    bool sound{false};  // direction, unit and range can be relied on
    Unit unit;
    Where at;  // of its object in the file
  };

  Bench bench;
  Problems& problems;
  std::vector<DeviceState> devices;               // as Bench::devices
  std::vector<SignalState> signals;               // as Bench::signals
  bool devices_known{true}, signals_known{true};  // false: the section could not be read, so names prove nothing

  // The signal of that name, or a problem with the nearest known name. Nothing when there is none.
  std::optional<SignalIndex> find(const Name& name);
  // As find, and the signal must be sound and of that direction; `use` says what for: "a set".
  std::optional<SignalIndex> find(const Name& name, Direction direction, const std::string& use);
  // A problem unless the bench itself measures that read signal; `why`: it must.
  void must_be_bench_owned(const Name& name, SignalIndex signal, const std::string& why);
  // The quantity in `unit`, or a problem that names both units.
  std::optional<double> convert(const written::LocatedQuantity& q, const Unit& unit);
  // As convert, for differences and rates, where a zero shift has no meaning.
  std::optional<double> convert_difference(const written::LocatedQuantity& q, const Unit& unit);
  // The quantity in the signal's unit and within its range.
  std::optional<double> value_of(SignalIndex signal, const written::LocatedQuantity& q);
  // The limits in the signal's unit; at least one, and low <= high. A missing one is infinite.
  std::optional<Condition> limits_of(SignalIndex signal, const written::Limits& limits, const Where& at);

  // Every line of the safe state was taken: only then can one be missed in it.
  bool safe_state_known(const written::Bench& file) const;

  const SignalInfo& info(SignalIndex i) const { return bench.signals[i].info; }
  std::string range_of(SignalIndex i) const;  // "0 to 16 V"
};

std::string shown(const Quantity& q);
// `value` followed by the unit; no unit for dimensionless numbers.
std::string with_unit(double value, const std::string& unit);

// The entries of one section over all files; a name taken twice is told and left out. `known` turns false when a
// section could not be read at all.
template <class T>
std::vector<const std::pair<Name, written::Part<T>>*> merged(
    const std::vector<written::Contents>& parts,
    written::Part<written::Dictionary<written::Part<T>>> written::Contents::*section, const std::string& what,
    bool& known, Problems& problems) {
  std::vector<const std::pair<Name, written::Part<T>>*> all;
  const auto first = [&](const Name& name) -> const Name* {
    for (const auto* a : all)
      if (a->first.value == name.value) return &a->first;
    return nullptr;
  };
  for (const auto& contents : parts) {
    const auto& entries = contents.*section;
    if (!entries.good && entries.at.line > 0 && entries.value.empty()) known = false;
    for (const auto& entry : entries.value) {
      const auto& name = entry.first;
      const auto* other = first(name);
      if (other == nullptr) {
        all.push_back(&entry);
      } else if (other->at.file != name.at.file) {  // within one file the reader of JSON has complained already
        problems.add(name.at, "a second " + what + " '" + name.value + "'", "each name once over all files",
                     "the first is in " + other->at.file + ", line " + std::to_string(other->at.line));
      }
    }
  }
  return all;
}

// What a calibration makes of a signal whose raw number `convert` brings into `unit`: its gain, offset and what is
// known of them.
void apply_calibration(const written::Calibration& c, const Unit& unit, const Conversion& convert, Draft& draft,
                       SignalSpec& spec);
void resolve_devices(const std::vector<written::Contents>& parts, const Catalogue& catalogue, Draft& draft);
void resolve_unit(const written::Bench& file, const Catalogue& catalogue, Draft& draft);
void resolve_signals(const std::vector<written::Contents>& parts, Draft& draft);
void resolve_skews(const std::vector<written::Contents>& parts, Draft& draft);
void resolve_axes(const written::Bench& file, Draft& draft);
void resolve_interlocks(const written::Bench& file, Draft& draft);
// What limits each hazard, and what the bench may do only where all are limited. After resolve_faults.
void resolve_hazards(const written::Bench& file, Draft& draft);
void resolve_arming(const written::Bench& file, Draft& draft);
void resolve_safe_state(const written::Bench& file, Draft& draft);
void resolve_vehicle(const written::Bench& file, Draft& draft);
void resolve_load(const written::Bench& file, Draft& draft);
void resolve_faults(const written::Bench& file, Draft& draft);
void resolve_fixture(const written::Bench& file, Draft& draft);

}  // namespace trackrod
