// Devices: their link and protocol settings, and the fields that their messages carry.

#include <map>

#include "harness/bench/draft.hpp"
#include "harness/bench/identity.hpp"

namespace trackrod {
namespace {

// Names that every device has are no longer free for its protocol.
void add_device_fields(std::vector<FieldInfo>& fields, const std::vector<FieldInfo>& of_every_device, const Where& at,
                       Problems& problems) {
  for (const auto& field : of_every_device) {
    for (const auto& own : fields)
      if (own.name == field.name)
        problems.add(at, "this protocol has a field '" + field.name + "'", "another name for it",
                     "every device has a field of this name that shows its link");
    fields.push_back(field);
  }
}

// What only one device can open, and who has it.
using Taken = std::map<std::string, std::string>;

void take_link(const Name& name, const Chosen& link, const Catalogue& catalogue, Taken& taken, Problems& problems) {
  const auto sole = catalogue.sole ? catalogue.sole(link) : std::string{};
  if (sole.empty()) return;
  const auto [first, is_free] = taken.emplace(sole, name.value);
  if (!is_free)
    problems.add(link.at, "the " + sole + " is that of device '" + first->second + "' already", "one device on each",
                 "another port; what shares one belongs into one device");
}

void resolve_device(const Name& name, const written::Part<written::Device>& part, const Catalogue& catalogue,
                    Taken& taken, Draft& draft) {
  const auto& w = part.value;
  DeviceSpec spec{name.value,        w.link,  w.protocol, w.timeout.value,
                  w.clock_asymmetry, w.clock, {},         w.silent_until_armed};
  Draft::DeviceState state{part.good, {}, {}};
  if (part.good) {
    take_link(name, w.link, catalogue, taken, draft.problems);
    const auto before = draft.problems.count();
    for (const auto& p : catalogue.protocols)
      if (p.settings.name == w.protocol.kind) {
        state.fields = p.fields(w.protocol.value, draft.problems);
        if (p.over && catalogue.carries) p.over(w.protocol.value, catalogue.carries(w.link), w.link.at, draft.problems);
      }
    if (draft.problems.count() == before)
      spec.identity = read_identity(w.identity, "device '" + name.value + "'", w.protocol, catalogue, draft.problems);
    add_device_fields(state.fields, catalogue.device_fields, w.protocol.at, draft.problems);
    state.sound = draft.problems.count() == before;
    for (const auto& p : catalogue.protocols)
      if (state.sound && p.messages && p.settings.name == w.protocol.kind)
        state.messages = p.messages(w.protocol.value);
    if (draft.bench.tick > Duration{0} && w.timeout.value <= draft.bench.tick)
      draft.problems.add(w.timeout.at, "found " + with_unit(seconds(w.timeout.value) * 1e3, "ms"),
                         "more than one tick of the loop, " + with_unit(seconds(draft.bench.tick) * 1e3, "ms"),
                         "several times the period at which the device sends");
  }
  draft.bench.devices.push_back(std::move(spec));
  draft.devices.push_back(std::move(state));
}

}  // namespace

void resolve_devices(const std::vector<written::Contents>& parts, const Catalogue& catalogue, Draft& draft) {
  Taken taken;
  for (const auto* entry : merged(parts, &written::Contents::devices, "device", draft.devices_known, draft.problems))
    resolve_device(entry->first, entry->second, catalogue, taken, draft);
}

}  // namespace trackrod
