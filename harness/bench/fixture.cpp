// How the unit is held, and the equipment: for the record.

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

}  // namespace

void resolve_fixture(const written::Bench& file, Draft& draft) {
  for (const auto& [name, clamp] : file.fixture.clamped)
    draft.bench.fixture.clamped.push_back({name.value, clamp.to, positive(clamp.stiffness, "Nm/rad", "N/m", draft),
                                           positive(clamp.inertia, "kg.m^2", "kg", draft)});
  for (const auto& [name, equipment] : file.fixture.equipment) {
    draft.bench.fixture.equipment.push_back(equipment);
    draft.bench.fixture.equipment.back().name = name.value;
  }
}

}  // namespace trackrod
