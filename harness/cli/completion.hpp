#pragma once
// What a shell offers after a Tab, made from the option table.

#include <CLI/CLI.hpp>
#include <string>

namespace trackrod {

// A script for bash: commands, options, their listed values, files and folders. Needs no other script.
std::string bash_completion(const CLI::App& app);

}  // namespace trackrod
