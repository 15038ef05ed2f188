#include "drivers/device/known_devices.hpp"

#include "drivers/device/device_set.hpp"
#include "drivers/device/link_fields.hpp"
#include "drivers/link/link.hpp"
#include "drivers/protocol/protocol.hpp"

namespace trackrod {

Catalogue known_devices() {
  Catalogue c;
  for (const auto& k : link_table()) c.links.push_back(k.entry);
  for (const auto& k : protocol_table()) c.protocols.push_back(k.entry);
  c.device_fields = link_fields();
  c.carries = carried_by;
  c.sole = sole_of;
  c.identity = identity_names;
  return c;
}

}  // namespace trackrod
