// How the unit is held, and the equipment: for the record.

#include <limits>

#include "harness/bench/draft.hpp"

namespace trackrod {
namespace {

// More than 0, of the kind of one of the two units: for what turns, and for what goes straight.
std::optional<Quantity> positive(const std::optional<written::LocatedQuantity>& q, const std::string& turning,
                                 const std::string& straight, Draft& draft) {
  if (!q) return std::nullopt;
  const auto& unit = q->value.unit;
  if (!unit.same_dimension(Unit::known(turning)) && !unit.same_dimension(Unit::known(straight)))
    draft.problems.add(q->at, "found \"" + shown(q->value) + "\"", "a quantity in " + turning + " or in " + straight,
                       "'" + unit.text() + "' measures another quantity");
  else if (q->value.value <= 0.0)
    draft.problems.add(q->at, "found " + shown(q->value), "more than 0", "leave the key out where it is not known");
  return q->value;
}

// Positive or zero, and of the dimension of `value`.
Quantity uncertainty(const written::LocatedQuantity& u, const Quantity& value, Draft& draft) {
  if (!u.value.unit.same_dimension(value.unit))
    draft.problems.add(u.at, "found \"" + shown(u.value) + "\"", "a quantity in " + value.unit.text(),
                       "'" + u.value.unit.text() + "' measures another quantity");
  else if (u.value.value < 0.0)
    draft.problems.add(u.at, "found " + shown(u.value), "0 or more");
  return u.value;
}

void resolve_curve(const written::Fixture& file, Draft& draft) {
  const auto metre = Unit::known("m"), degree = Unit::known("deg");
  double last = -std::numeric_limits<double>::infinity();
  for (const auto& point : file.rack_curve) {
    if (!point.good) continue;
    const auto& p = point.value;
    const auto travel = draft.convert_difference(p.travel, metre);
    const auto angle = draft.convert_difference(p.angle, degree);
    if (travel && *travel <= last)
      draft.problems.add(p.travel.at, "found " + shown(p.travel.value), "more than the travel of the point before",
                         "sort the points by their travel, each once");
    last = travel.value_or(last);
    if (travel && angle)
      draft.bench.fixture.rack_curve.push_back({p.travel.value, p.angle.value, uncertainty(p.u, p.angle.value, draft)});
  }
}

void resolve_wires(const written::Fixture& file, Draft& draft) {
  auto& wires = draft.bench.fixture.wires;
  for (const auto& [name, part] : file.wires) {
    if (!part.good) continue;
    const auto& wire = part.value;
    const auto signal = draft.find(wire.signal, Direction::drive, "a wire");
    if (!signal) continue;
    for (const auto& other : wires)
      if (other.signal == *signal)
        draft.problems.add(wire.signal.at,
                           "the relay of '" + wire.signal.value + "' is that of wire '" + other.wire + "' already",
                           "each relay once");
    wires.push_back({name.value, wire.where, wire.closed, *signal, wire.checked});
  }
}

}  // namespace

void resolve_fixture(const written::Bench& file, Draft& draft) {
  for (const auto& [name, clamp] : file.fixture.clamped)
    draft.bench.fixture.clamped.push_back({name.value, clamp.to, positive(clamp.stiffness, "Nm/rad", "N/m", draft),
                                           positive(clamp.inertia, "kg.m^2", "kg", draft)});
  for (const auto& [name, equipment] : file.fixture.equipment) {
    draft.bench.fixture.equipment.push_back(equipment);
    draft.bench.fixture.equipment.back().name = name.value;
  }
  for (const auto& [name, measure] : file.fixture.measures)
    if (measure.good)
      draft.bench.fixture.measures.push_back({name.value, measure.value.what, measure.value.value.value,
                                              uncertainty(measure.value.u, measure.value.value.value, draft)});
  resolve_curve(file.fixture, draft);
  resolve_wires(file.fixture, draft);
}

}  // namespace trackrod
