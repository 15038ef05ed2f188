// supply: a published course of the supply's voltage, from where it is and back.

#include <numbers>

#include "harness/plan/drafting.hpp"
#include "harness/plan/supply_profile.hpp"

namespace trackrod {
namespace {

struct Supply : DriveKeys {
  Located<const SupplyProfile*> profile;
};

std::vector<std::pair<std::string, const SupplyProfile*>> profiles_by_name() {
  std::vector<std::pair<std::string, const SupplyProfile*>> all;
  for (const auto& profile : supply_profiles()) all.emplace_back(profile.name, &profile);
  return all;
}

const Fields<Supply>& supply_fields() {
  static const auto fields =
      driving(Fields<Supply>{"a supply profile",
                             "Leads a supply through a published course, once, from the voltage where it is and back"}
                  .need("profile", &Supply::profile, located(choice<const SupplyProfile*>(profiles_by_name())),
                        "the course, by its clause"));
  return fields;
}

std::optional<Movement> move_supply(const Supply& supply, Drafting& draft) {
  const auto drive = draft.drive(supply);
  if (!drive) return {};
  if (drive->spec->info.unit != "V") {
    draft.problems().add(supply.signal.at, "'" + supply.signal.value + "' is in " + drive->spec->info.unit,
                         "a driven signal in V: the voltage that a supply is set to");
    return {};
  }
  Motion motion{drive->start};
  for (const auto& p : supply.profile.value->course(drive->start)) {
    Piece piece;
    piece.length = p.seconds;
    piece.c0 = motion.end;
    piece.c1 = (p.to - motion.end) / p.seconds;
    piece.amplitude = 0.5 * p.ripple;
    piece.rate = 2 * std::numbers::pi * p.ripple_hz;
    motion.append(piece, p.to);
  }
  if (!draft.keeps(motion, drive->signal, drive->limits, supply.profile.at)) return {};
  const double length = motion.seconds();
  return Movement{{{drive->signal, std::move(motion)}}, length};
}

}  // namespace

StimulusKind supply_stimulus() { return stimulus("supply", supply_fields, move_supply); }

}  // namespace trackrod
