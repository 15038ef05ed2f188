// Faults of values: their table.

#include <algorithm>
#include <functional>

#include "harness/bench/draft.hpp"
#include "harness/bench/fault_kinds.hpp"

namespace trackrod {
namespace {

// A fault of a value as written in the file; each kind fills its part.
struct OfSignal {
  Name signal;
  written::LocatedQuantity value, rate;
  double factor{1.0};
  Duration delay{};
  Name other;
  std::uint64_t seed{1};
  Located<bool> jumps{false, {}};
};

// What a kind has beside `signal` and `jumps`.
using Keys = void (*)(Fields<OfSignal>&);
// Works it out once signal and jumps are known. False after telling why not.
using Meaning = bool (*)(const OfSignal&, SignalFault&, Draft&);

struct SignalKind {
  std::string name, doc;
  SignalFault::Kind kind;
  Keys keys;
  Meaning meaning;
};

bool take(std::optional<double> found, double& into) {
  if (found) into = *found;
  return found.has_value();
}
// A difference, in the signal's unit; with `a_second` a rate.
bool take_difference(const written::LocatedQuantity& q, bool a_second, double& into, SignalIndex signal, Draft& draft) {
  const auto& unit = draft.signals[signal].unit;
  return take(draft.convert_difference(q, a_second ? Unit::known(unit.text() + "/s") : unit), into);
}

void no_keys(Fields<OfSignal>&) {}
bool no_more(const OfSignal&, SignalFault&, Draft&) { return true; }

void value_key(Fields<OfSignal>& f) { f.need("to", &OfSignal::value, any_quantity(), "the value with the fault"); }
bool value_in_range(const OfSignal& w, SignalFault& f, Draft& draft) {
  return take(draft.value_of(f.signal, w.value), f.value);
}

void by_key(Fields<OfSignal>& f) { f.need("by", &OfSignal::value, any_quantity(), "what is added"); }
bool by_difference(const OfSignal& w, SignalFault& f, Draft& draft) {
  return take_difference(w.value, false, f.value, f.signal, draft);
}

void factor_key(Fields<OfSignal>& f) { f.need("factor", &OfSignal::factor, number(-100.0, 100.0), "times this"); }
bool by_factor(const OfSignal& w, SignalFault& f, Draft&) { return f.value = w.factor, true; }

void rate_key(Fields<OfSignal>& f) { f.need("rate", &OfSignal::rate, any_quantity(), "growth of the error"); }
bool at_rate(const OfSignal& w, SignalFault& f, Draft& draft) {
  return take_difference(w.rate, true, f.value, f.signal, draft);
}

void ramp_keys(Fields<OfSignal>& f) {
  value_key(f);
  f.need("rate", &OfSignal::rate, any_quantity(), "how fast it runs there, above 0");
}
bool to_value_at_rate(const OfSignal& w, SignalFault& f, Draft& draft) {
  if (!value_in_range(w, f, draft) || !take_difference(w.rate, true, f.rate, f.signal, draft)) return false;
  if (f.rate > 0.0) return true;
  draft.problems.add(w.rate.at, "found " + shown(w.rate.value), "a rate above 0");
  return false;
}

void noise_keys(Fields<OfSignal>& f) {
  f.need("deviation", &OfSignal::value, any_quantity(), "standard deviation of the noise");
  f.may("seed", &OfSignal::seed, integer<std::uint64_t>(0, INT64_MAX), "of the noise; default 1");
}

void delay_key(Fields<OfSignal>& f) {
  f.need("by", &OfSignal::delay, duration(std::chrono::milliseconds{1}, std::chrono::seconds{10}), "how late it is");
}
bool late_by(const OfSignal& w, SignalFault& f, Draft&) { return f.delay = w.delay, true; }

void other_key(Fields<OfSignal>& f) {
  f.need("with", &OfSignal::other, name(), "the driven signal that it changes places with, of the same unit");
}
bool with_other(const OfSignal& w, SignalFault& f, Draft& draft) {
  const auto other = draft.find(w.other, Direction::drive, "'with'");
  if (!other) return false;
  f.other = *other;
  if (*other != f.signal && draft.info(*other).unit == draft.info(f.signal).unit) return true;
  draft.problems.add(w.other.at, "'" + w.other.value + "' in " + draft.info(*other).unit,
                     "another driven signal in " + draft.info(f.signal).unit);
  return false;
}

const std::vector<SignalKind>& signal_kinds() {
  using K = SignalFault::Kind;
  static const std::vector<SignalKind> table{
      {"set", "Drives a signal to a value: a relay, the output or the voltage of a supply", K::set, value_key,
       value_in_range},
      {"stuck", "The signal stays where it was", K::stuck, no_keys, no_more},
      {"offset", "Something is added to the signal", K::offset, by_key, by_difference},
      {"gain", "The signal is multiplied", K::gain, factor_key, by_factor},
      {"drift", "An error of the signal that grows", K::drift, rate_key, at_rate},
      {"ramp", "The signal runs to a value by itself", K::ramp, ramp_keys, to_value_at_rate},
      {"noise", "Normally distributed noise on the signal", K::noise, noise_keys, by_difference},
      {"late", "The signal comes late", K::late, delay_key, late_by},
      {"inverted", "The signal has the other sign", K::inverted, no_keys, no_more},
      {"swapped", "The signal has changed places with another", K::swapped, other_key, with_other},
  };
  return table;
}

Fields<OfSignal> fields_of(const SignalKind& kind) {
  Fields<OfSignal> fields{kind.name + " signal", kind.doc};
  fields.need("signal", &OfSignal::signal, name(), "the driven signal");
  kind.keys(fields);
  fields.may("jumps", &OfSignal::jumps, located(flag()),
             "true: past the signal's max_slew, as a wrong value in a message may; not for what moves the rig");
  return fields;
}

std::optional<SignalFault> resolve_signal(const SignalKind& kind, const OfSignal& w, Draft& draft) {
  const auto signal = draft.find(w.signal, Direction::drive, "a fault");
  if (!signal) return {};
  SignalFault f;
  f.kind = kind.kind;
  f.signal = *signal;
  f.seed = w.seed;
  f.jumps = w.jumps.value;
  for (const auto& axis : draft.bench.axes)
    if (axis.mode_signal == *signal) {
      draft.problems.add(w.signal.at, "'" + w.signal.value + "' is the mode of the axis '" + axis.name + "'",
                         "a driven signal that is no mode",
                         "a drive in another mode than it is thought to be in moves at will");
      return {};
    }
  if (f.jumps && moves_an_axis(*signal, draft.bench)) {
    draft.problems.add(w.jumps.at, "'" + w.signal.value + "', the setpoint of an axis, would jump",
                       "no 'jumps' for what moves the rig");
    return {};
  }
  if (!kind.meaning(w, f, draft)) return {};
  return f;
}

}  // namespace

std::vector<KindEntry> value_fault_kinds() {
  std::vector<KindEntry> all;
  for (const auto& k : signal_kinds()) all.push_back(kind(k.name, fields_of(k)));
  return all;
}

std::optional<SignalFault> resolve_value_fault(const Chosen& make, Draft& draft) {
  for (const auto& kind : signal_kinds())
    if (kind.name == make.kind) return resolve_signal(kind, std::any_cast<const OfSignal&>(make.value), draft);
  return {};
}

}  // namespace trackrod
