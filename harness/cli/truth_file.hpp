#pragma once
// The parameter file of the simulated bench, as the command line names it.

#include <optional>
#include <string>
#include <vector>

#include "fixtures/plant/truth.hpp"
#include "harness/cli/console.hpp"

namespace trackrod {

// `path`, or truth.json beside the bench file when it is empty. Empty after saying what is wrong.
std::optional<Truth> load_truth(const std::string& path, const std::string& bench, const std::vector<std::string>& set,
                                const Console& console);

}  // namespace trackrod
