#pragma once

#include "harness/base/catalogue.hpp"

namespace trackrod {

// Every kind of link and protocol, and the fields that each device has. Scores are added by whoever knows them.
Catalogue known_devices();

}  // namespace trackrod
