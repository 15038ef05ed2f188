#pragma once
// What the option table says of one option, for the manual and for completion.

#include <CLI/CLI.hpp>
#include <string>
#include <vector>

namespace trackrod {

// Type names in the table, by which a shell knows what to offer.
inline constexpr char a_file[] = "FILE", a_folder[] = "FOLDER";

// The commands that are for people.
std::vector<const CLI::App*> commands_of(const CLI::App& app);
// Those with dashes, and those without, in the table's order.
std::vector<const CLI::Option*> options_of(const CLI::App& command);
std::vector<const CLI::Option*> arguments_of(const CLI::App& command);
// "--bench"
std::string dashed_name(const CLI::Option& option);
bool takes_value(const CLI::Option& option);
// The values that the table allows, where it lists them.
std::vector<std::string> listed_values(const CLI::Option& option);

}  // namespace trackrod
