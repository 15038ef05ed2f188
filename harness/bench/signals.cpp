// Signals: the field behind each, its unit, calibration and range.

#include <algorithm>
#include <cmath>

#include "harness/bench/draft.hpp"

namespace trackrod {
namespace {

using written::LocatedQuantity;

// The unit's text in brackets, so that "km/h" stays whole in "(km/h)/s".
Unit per_second(const Unit& unit, const std::string& power) {
  return Unit::known((unit.text() == "1" ? "" : "(" + unit.text() + ").") + "s^-" + power);
}

// One signal being worked out.
class SignalResolver {
 public:
  SignalResolver(SignalIndex index, const written::Signal& w, Draft& draft)
      : w_{w}, draft_{draft}, problems_{draft.problems}, spec_{draft.bench.signals[index]}, unit_{w.unit.value} {}

  // True when direction, unit and range can be relied on.
  bool resolve() {
    take_plain_values();
    if (const auto convert = field_conversion()) convert_ = *convert;
    spec_.gain = convert_.gain();
    spec_.offset = convert_.offset();
    const auto* field = find_field();
    const bool ranged = take_range(field);
    refuse_keys_of_other_direction();
    if (w_.direction == Direction::read) {
      take_sensor(field);
    } else {
      take_drive_limits();
    }
    if (field != nullptr) {
      spec_.info.resolution = std::abs(spec_.gain) * field->resolution;
      spec_.info.resolution_offset = spec_.gain * field->resolution_offset + spec_.offset;
      if (w_.direction == Direction::drive) {
        spec_.counted = field->counted;
        spec_.list = field->list;
      }
    }
    return ranged;
  }
  // What needs the other signals and the range.
  void resolve_rest() {
    if (w_.direction != Direction::drive) return;
    const auto index = static_cast<SignalIndex>(&spec_ - draft_.bench.signals.data());
    if (w_.rest && w_.start_from)
      problems_.add(w_.start_from->at, "both 'rest' and 'start_from'", "one of them",
                    "start_from is used in the place of rest");
    if (w_.rest)
      if (const auto v = draft_.value_of(index, *w_.rest)) spec_.rest = *v;
    if (w_.start_from) take_start_from();
  }

 private:
  void take_plain_values() {
    auto& info = spec_.info;
    info.unit = unit_.text();
    info.direction = w_.direction;
    info.device = w_.device.value;
    info.location = w_.location;
    info.positive = w_.positive;
    spec_.field = w_.field.value;
  }

  const FieldInfo* find_field() {
    std::vector<std::string> names;
    for (const auto& d : draft_.bench.devices) names.push_back(d.name);
    const auto at = std::find(names.begin(), names.end(), w_.device.value);
    if (at == names.end()) {
      if (draft_.devices_known)
        problems_.add(w_.device.at, "the bench has no device '" + w_.device.value + "'",
                      names.empty() ? "one of the bench's devices" : one_of(names),
                      did_you_mean(w_.device.value, names));
      return nullptr;
    }
    spec_.device = static_cast<std::size_t>(at - names.begin());
    const auto& device = draft_.bench.devices[spec_.device];
    spec_.info.clock = device.clock;
    spec_.info.clock_asymmetry = device.clock_asymmetry;
    const auto& state = draft_.devices[spec_.device];
    if (!state.sound) return nullptr;
    const bool reads = w_.direction == Direction::read;
    std::vector<std::string> fitting;
    const FieldInfo* found = nullptr;
    for (const auto& f : state.fields) {
      if (reads ? f.readable : f.drivable) fitting.push_back(f.name);
      if (f.name == w_.field.value) found = &f;
    }
    if (found != nullptr && (reads ? found->readable : found->drivable)) return found;
    const auto what = found == nullptr ? "device '" + device.name + "' has no field '" + w_.field.value + "'"
                                       : "the field '" + w_.field.value + "' of device '" + device.name + "' is only " +
                                             (reads ? "driven" : "read");
    const std::string verb = reads ? "be read" : "be driven";
    problems_.add(w_.field.at, what,
                  fitting.empty() ? "a field that can " + verb + "; this device has none" : one_of(fitting),
                  found == nullptr ? did_you_mean(w_.field.value, fitting) : "or another 'direction' for this signal");
    return nullptr;
  }

  std::optional<Conversion> field_conversion() {
    if (!w_.field_unit) return Conversion{};
    const auto c = Conversion::between(w_.field_unit->value, unit_);
    if (c) return *c;
    problems_.add(w_.field_unit->at, "found \"" + w_.field_unit->value.text() + "\"",
                  "a unit that converts to " + unit_.text(), c.error().context);
    return std::nullopt;
  }

  bool take_range(const FieldInfo* field) {
    const auto low = draft_.convert(w_.range.value[0], unit_), high = draft_.convert(w_.range.value[1], unit_);
    if (!low || !high) return false;
    if (*low >= *high) {
      problems_.add(w_.range.at, "the range " + shown(*low) + " to " + with_unit(*high, unit_.text()),
                    "the lowest value first, then the highest");
      return false;
    }
    spec_.info.range_low = *low;
    spec_.info.range_high = *high;
    if (field == nullptr || field->low >= field->high) return true;
    const double a = convert_(field->low), b = convert_(field->high), slack = 1e-9 * (*high - *low);
    for (const auto& [bound, q] : {std::pair{*low, &w_.range.value[0]}, std::pair{*high, &w_.range.value[1]}})
      if (bound < std::min(a, b) - slack || bound > std::max(a, b) + slack)
        problems_.add(q->at, "found " + shown(q->value),
                      shown(std::min(a, b)) + " to " + with_unit(std::max(a, b), unit_.text()) + ", what the field '" +
                          field->name + "' can hold",
                      w_.field_unit ? "" : "is the number in the field in another unit? then say so with 'field_unit'");
    return true;
  }

  template <class T>
  void refuse(const std::optional<T>& key, const std::string& name) {
    if (!key) return;
    const bool reads = w_.direction == Direction::read;
    problems_.add(key->at, "'" + name + "' with a " + (reads ? "read" : "driven") + " signal",
                  std::string{"'"} + name + "' only with " + (reads ? "'drive'" : "'read'"),
                  "remove it, or is 'direction' wrong?");
  }
  void refuse_keys_of_other_direction() {
    if (w_.direction == Direction::read) {
      refuse(w_.max_slew, "max_slew");
      refuse(w_.max_jerk, "max_jerk");
      refuse(w_.rest, "rest");
      refuse(w_.start_from, "start_from");
    } else {
      refuse(w_.bench_owned, "bench_owned");
      refuse(w_.delay, "delay");
      refuse(w_.no_value, "no_value");
      refuse(w_.calibration, "calibration");
      if (!w_.rest && !w_.start_from)
        problems_.add(draft_.signals[static_cast<std::size_t>(&spec_ - draft_.bench.signals.data())].at,
                      "neither 'rest' nor 'start_from'", "one of them in a driven signal",
                      "rest is what is sent from arming on; start_from takes the present value of a read signal");
    }
  }

  void take_sensor(const FieldInfo* field) {
    if (w_.bench_owned) spec_.info.bench_owned = w_.bench_owned->value;
    if (w_.delay) {
      spec_.info.delay = w_.delay->value.value;
      spec_.info.delay_uncertainty = w_.delay->value.u;
    }
    if (w_.no_value) take_no_value(field);
    if (w_.calibration) apply_calibration(w_.calibration->value, unit_, convert_, draft_, spec_);
  }

  void take_no_value(const FieldInfo* field) {
    const double v = w_.no_value->value;
    spec_.no_value = v;
    if (field != nullptr && field->low < field->high && (v < field->low || v > field->high))
      problems_.add(
          w_.no_value->at, "found " + shown(v) + ", which never comes",
          shown(field->low) + " to " + shown(field->high) + ", what the field '" + field->name + "' can hold");
  }

  void take_drive_limits() {
    spec_.info.max_slew = greatest(w_.max_slew, "1");
    spec_.max_jerk = greatest(w_.max_jerk, "3");
  }
  double greatest(const std::optional<LocatedQuantity>& q, const std::string& power) {
    if (!q) return 0.0;
    const auto v = q->value.in(per_second(unit_, power));
    const auto want = (unit_.text() == "1" ? "1" : unit_.text()) + "/s" + (power == "1" ? "" : "^" + power);
    if (v && *v > 0.0) return *v;
    problems_.add(
        q->at, "found " + shown(q->value), "a quantity in " + want + ", more than 0",
        v ? "leave the key out where there is no limit" : "'" + q->value.unit.text() + "' measures another quantity");
    return 0.0;
  }

  void take_start_from() {
    const auto from = draft_.find(*w_.start_from, Direction::read, "'start_from'");
    if (!from) return;
    const auto c = Conversion::between(draft_.signals[*from].unit, unit_);
    if (c && c->gain() == 1.0 && c->offset() == 0.0) {
      spec_.start_from = *from;
      return;
    }
    problems_.add(w_.start_from->at, "'" + w_.start_from->value + "' is in " + draft_.info(*from).unit,
                  "a read signal in " + unit_.text() + ", as this signal is");
  }

  const written::Signal& w_;
  Draft& draft_;
  Problems& problems_;
  SignalSpec& spec_;
  const Unit unit_;
  Conversion convert_;
};

// Two driven signals on one field would overwrite each other.
void refuse_shared_fields(const std::vector<const std::pair<Name, written::Part<written::Signal>>*>& entries,
                          Draft& draft) {
  for (std::size_t i = 0; i < entries.size(); ++i)
    for (std::size_t j = 0; j < i; ++j) {
      const auto &a = entries[j]->second, &b = entries[i]->second;
      if (!a.good || !b.good || a.value.direction != Direction::drive || b.value.direction != Direction::drive)
        continue;
      if (a.value.device.value != b.value.device.value || a.value.field.value != b.value.field.value) continue;
      draft.problems.add(
          b.value.field.at,
          "the field '" + b.value.field.value + "' is driven by '" + entries[j]->first.value + "' already",
          "one driven signal for each field");
      break;
    }
}

}  // namespace

void apply_calibration(const written::Calibration& c, const Unit& unit, const Conversion& convert, Draft& draft,
                       SignalSpec& spec) {
  auto& out = spec.info.calibration;
  out = {c.gain.value, 0.0, 0.0, c.gain_u, c.date, c.due.value, c.certificate};
  if (c.gain.value == 0.0)
    draft.problems.add(c.gain.at, "a calibration gain of 0", "a gain other than 0",
                       "1 where the sensor's scale is right");
  if (c.offset) out.offset = draft.convert_difference(*c.offset, unit).value_or(0.0);
  if (const auto u = draft.convert_difference(c.u, unit)) {
    out.standard_uncertainty = *u;
    if (*u < 0.0) draft.problems.add(c.u.at, "found " + shown(c.u.value), "an uncertainty of 0 or more");
  }
  if (!c.due.value.empty() && c.due.value <= c.date)
    draft.problems.add(c.due.at, "due on " + c.due.value + ", calibrated on " + c.date,
                       "a due date after the date of calibration", "are the two exchanged?");
  spec.gain = c.gain.value * convert.gain();
  spec.offset = c.gain.value * convert.offset() + out.offset;
}

void resolve_signals(const std::vector<written::Contents>& parts, Draft& draft) {
  const auto entries = merged(parts, &written::Contents::signals, "signal", draft.signals_known, draft.problems);
  if (entries.size() >= no_signal) {
    draft.problems.add(entries[no_signal]->first.at, "a signal too many", "at most " + std::to_string(no_signal));
    draft.signals_known = false;
    return;
  }
  // All names first: signals refer to each other.
  for (const auto* entry : entries) {
    draft.bench.signals.emplace_back().info.name = entry->first.value;
    draft.signals.push_back({false, entry->second.value.unit.value, entry->second.at});
  }
  std::vector<SignalResolver> resolvers;
  for (std::size_t i = 0; i < entries.size(); ++i) {
    if (!entries[i]->second.good) continue;
    auto& resolver = resolvers.emplace_back(static_cast<SignalIndex>(i), entries[i]->second.value, draft);
    draft.signals[i].sound = resolver.resolve();
  }
  for (std::size_t i = 0, r = 0; i < entries.size(); ++i) {
    if (!entries[i]->second.good) continue;
    if (draft.signals[i].sound) resolvers[r].resolve_rest();
    ++r;
  }
  refuse_shared_fields(entries, draft);
}

}  // namespace trackrod
