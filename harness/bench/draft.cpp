#include "harness/bench/draft.hpp"

#include <limits>

namespace trackrod {

std::string with_unit(double value, const std::string& unit) { return shown(value) + (unit == "1" ? "" : " " + unit); }

std::string shown(const Quantity& q) { return with_unit(q.value, q.unit.text()); }

std::string Draft::range_of(SignalIndex i) const {
  return shown(info(i).range_low) + " to " + with_unit(info(i).range_high, info(i).unit);
}

std::optional<SignalIndex> Draft::find(const Name& name) {
  const auto index = bench.find(name.value);
  if (!index && signals_known)
    problems.add(name.at, "the bench has no signal '" + name.value + "'", "one of the bench's signals",
                 did_you_mean(name.value, bench.signal_names()));
  return index;
}

std::optional<SignalIndex> Draft::find(const Name& name, Direction direction, const std::string& use) {
  const auto index = find(name);
  if (!index || !signals[*index].sound) return std::nullopt;
  if (info(*index).direction == direction) return index;
  std::vector<std::string> fitting;
  for (const auto& s : bench.signals)
    if (s.info.direction == direction) fitting.push_back(s.info.name);
  const bool reads = direction == Direction::read;
  problems.add(name.at, "'" + name.value + "' is a " + (reads ? "driven" : "read") + " signal",
               std::string{reads ? "a read" : "a driven"} + " signal for " + use, did_you_mean(name.value, fitting));
  return std::nullopt;
}

void Draft::must_be_bench_owned(const Name& name, SignalIndex signal, const std::string& why) {
  if (!info(signal).bench_owned)
    problems.add(name.at, "'" + name.value + "' is not measured by the bench itself",
                 "a read signal with \"bench_owned\": true", why);
}

bool Draft::safe_state_known(const written::Bench& file) const {
  return file.safe_state.good && bench.safe_state.actions.size() == file.safe_state.value.actions.value.size();
}

std::optional<double> Draft::convert(const written::LocatedQuantity& q, const Unit& unit) {
  const auto v = q.value.in(unit);
  if (v) return *v;
  problems.add(q.at, "found \"" + shown(q.value) + "\"",
               unit.text() == "1" ? "a number without a unit" : "a quantity in " + unit.text(), v.error().context);
  return std::nullopt;
}

std::optional<double> Draft::convert_difference(const written::LocatedQuantity& q, const Unit& unit) {
  if (const auto c = Conversion::between(q.value.unit, unit)) return c->gain() * q.value.value;
  return convert(q, unit);
}

std::optional<double> Draft::value_of(SignalIndex signal, const written::LocatedQuantity& q) {
  const auto v = convert(q, signals[signal].unit);
  if (!v) return v;
  if (*v >= info(signal).range_low && *v <= info(signal).range_high) return v;
  problems.add(q.at, "found " + shown(q.value), range_of(signal) + ", the range of '" + info(signal).name + "'");
  return std::nullopt;
}

std::optional<Condition> Draft::limits_of(SignalIndex signal, const written::Limits& limits, const Where& at) {
  constexpr double none = std::numeric_limits<double>::infinity();
  if (!limits.at_least && !limits.at_most) {
    problems.add(at, "neither 'at_least' nor 'at_most'", "one of them or both");
    return std::nullopt;
  }
  const auto& unit = signals[signal].unit;
  const auto low = limits.at_least ? convert(*limits.at_least, unit) : -none;
  const auto high = limits.at_most ? convert(*limits.at_most, unit) : none;
  if (!low || !high) return std::nullopt;
  if (*low > *high) {  // equal ones ask for a code
    problems.add(limits.at_least->at,
                 "'at_least' is " + shown(limits.at_least->value) + ", 'at_most' " + shown(limits.at_most->value),
                 "'at_least' not above 'at_most'", "exchange them?");
    return std::nullopt;
  }
  return Condition{signal, *low, *high};
}

}  // namespace trackrod
