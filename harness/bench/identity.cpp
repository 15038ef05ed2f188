#include "harness/bench/identity.hpp"

#include <algorithm>

#include "harness/bench/draft.hpp"

namespace trackrod {
namespace {

void add_rules(std::size_t device, const std::vector<IdentityText>& identity, std::vector<IdentityRule>& rules) {
  for (const auto& [name, texts] : identity) rules.push_back({device, name, texts, "the bench file"});
}

}  // namespace

Shape<WrittenIdentity> written_identity() { return dictionary(located(texts())); }

std::vector<IdentityText> read_identity(const WrittenIdentity& written, const std::string& whose,
                                        const Chosen& protocol, const Catalogue& catalogue, Problems& problems) {
  std::vector<IdentityText> identity;
  if (written.empty() || !catalogue.identity) return identity;
  const auto known = catalogue.identity(protocol);
  for (const auto& [name, texts] : written) {
    if (std::find(known.begin(), known.end(), name.value) == known.end())
      problems.add(name.at, whose + " does not tell its '" + name.value + "'",
                   known.empty() ? "nothing: a device of protocol '" + protocol.kind + "' does not say what it is"
                                 : one_of(known),
                   did_you_mean(name.value, known));
    else
      identity.push_back({name.value, texts.value});
  }
  return identity;
}

void resolve_unit(const written::Bench& file, const Catalogue& catalogue, Draft& draft) {
  const auto& w = file.unit;
  auto& unit = draft.bench.unit;
  unit = {w.name, w.serial.value, w.description};
  if (!w.device) {
    if (!w.identity.empty())
      draft.problems.add(w.identity.front().first.at, "nothing tells what the unit says of itself",
                         "'identity' beside 'device', the device through which the unit says what it is");
    return;
  }
  unit.device = draft.bench.find_device(w.device->value);
  if (!unit.device) {
    std::vector<std::string> names;
    for (const auto& device : draft.bench.devices) names.push_back(device.name);
    if (draft.devices_known)
      draft.problems.add(w.device->at, "unknown device '" + w.device->value + "'", one_of(names),
                         did_you_mean(w.device->value, names));
    return;
  }
  if (!draft.devices[*unit.device].sound) return;
  const auto& protocol = draft.bench.devices[*unit.device].protocol;
  unit.identity = read_identity(w.identity, "the unit", protocol, catalogue, draft.problems);
  if (w.serial.value.empty() || !catalogue.identity) return;
  const auto told = catalogue.identity(protocol);
  const auto is_serial = [](const IdentityText& t) { return t.name == "serial"; };
  if (std::find(told.begin(), told.end(), "serial") != told.end() && std::ranges::none_of(unit.identity, is_serial))
    unit.identity.push_back({"serial", {w.serial.value}});
}

bool IdentityRule::allows(std::string_view said) const noexcept {
  return std::find(texts.begin(), texts.end(), said) != texts.end();
}

std::vector<IdentityRule> identity_rules(const Bench& bench) {
  std::vector<IdentityRule> rules;
  for (std::size_t i = 0; i < bench.devices.size(); ++i) add_rules(i, bench.devices[i].identity, rules);
  if (bench.unit.device) add_rules(*bench.unit.device, bench.unit.identity, rules);
  return rules;
}

}  // namespace trackrod
