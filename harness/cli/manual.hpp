#pragma once
// The manual pages, made from the option table, so that there is no second copy of an option or of its words.

#include <CLI/CLI.hpp>
#include <string>

#include "harness/base/error.hpp"

namespace trackrod {

// trackrod(1), for man(7).
std::string manual_page(const CLI::App& app);
// trackrod-COMMAND(1)
std::string manual_page(const CLI::App& app, const CLI::App& command);

// All of them as files in `folder`, which must be there. Error kind storage.
Result<void> write_manual(const CLI::App& app, const std::string& folder);

}  // namespace trackrod
