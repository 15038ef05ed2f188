#include "harness/cli/option_words.hpp"

#include <sstream>

namespace trackrod {

std::vector<const CLI::App*> commands_of(const CLI::App& app) {
  return app.get_subcommands([](const CLI::App* command) { return !command->get_group().empty(); });
}

std::vector<const CLI::Option*> options_of(const CLI::App& command) {
  return command.get_options([](const CLI::Option* o) { return !o->get_positional() && !o->get_group().empty(); });
}

std::vector<const CLI::Option*> arguments_of(const CLI::App& command) {
  return command.get_options([](const CLI::Option* o) { return o->get_positional(); });
}

std::string dashed_name(const CLI::Option& option) { return "--" + option.get_lnames().front(); }

bool takes_value(const CLI::Option& option) { return option.get_items_expected_max() > 0; }

std::vector<std::string> listed_values(const CLI::Option& option) {
  // A list of allowed values is part of the type's name: "TEXT:{bench,plan}".
  const auto type = option.get_type_name();
  const auto begin = type.find('{'), end = type.rfind('}');
  std::vector<std::string> values;
  if (begin == type.npos || end == type.npos) return values;
  std::istringstream list{type.substr(begin + 1, end - begin - 1)};
  for (std::string value; std::getline(list, value, ',');) values.push_back(value);
  return values;
}

}  // namespace trackrod
