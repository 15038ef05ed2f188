#include "harness/cli/completion.hpp"

#include "harness/cli/option_words.hpp"

namespace trackrod {
namespace {

// How to offer values of this kind; empty: nothing can be offered.
std::string offer(const CLI::Option& option) {
  std::string words;
  for (const auto& value : listed_values(option)) words += (words.empty() ? "" : " ") + value;
  if (!words.empty()) return "_trackrod_offer -W '" + words + "'";
  if (option.get_type_name() == a_file) return "_trackrod_offer -f";
  if (option.get_type_name() == a_folder) return "_trackrod_offer -d";
  return "";
}

std::string dashed_names(const CLI::App& command) {
  std::string names;
  for (const auto* option : options_of(command)) names += (names.empty() ? "" : " ") + dashed_name(*option);
  return names;
}

// Lines of a `case`: what follows an option that takes a value.
std::string values_of(const CLI::App& command) {
  std::string out;
  for (const auto* option : options_of(command))
    if (takes_value(*option))
      out += "    " + command.get_name() + "," + dashed_name(*option) + ") " + offer(*option) +
             (offer(*option).empty() ? "" : "; ") + "return ;;\n";
  return out;
}

// One line of a `case`: what may stand without dashes.
std::string arguments_offer(const CLI::App& command) {
  for (const auto* argument : arguments_of(command))
    if (const auto text = offer(*argument); !text.empty()) return text;
  return ":";
}

constexpr char beginning[] =
    R"sh(# What bash offers for trackrod. Made from the program's own table of options: trackrod completion bash
_trackrod_offer() {
  mapfile -t COMPREPLY < <(compgen "$@" -- "$current")
  case $1 in -f|-d) compopt -o filenames 2>/dev/null ;; esac
}
_trackrod() {
  local current=${COMP_WORDS[COMP_CWORD]} previous=${COMP_WORDS[COMP_CWORD-1]} command= i
  COMPREPLY=()
  # bash takes --option=value for three words.
  if [[ $current == = ]]; then
    current=
  elif [[ $previous == = ]]; then
    previous=${COMP_WORDS[COMP_CWORD-2]}
  fi
  for ((i = 1; i < COMP_CWORD; ++i)); do
)sh";

}  // namespace

std::string bash_completion(const CLI::App& app) {
  const auto commands = commands_of(app);
  std::string names, choices, values, lines;
  const auto everywhere = dashed_names(app);
  for (const auto* command : commands) {
    names += (names.empty() ? "" : " ") + command->get_name();
    choices += (choices.empty() ? "" : "|") + command->get_name();
    values += values_of(*command);
    lines += "    " + command->get_name() + ")\n      if [[ $current == -* ]]; then _trackrod_offer -W '" +
             dashed_names(*command) + " " + everywhere + "'; else " + arguments_offer(*command) + "; fi ;;\n";
  }
  return beginning + ("    case ${COMP_WORDS[i]} in " + choices) +
         ") command=${COMP_WORDS[i]}; break ;; esac\n  done\n  case $command,$previous in\n" + values +
         "  esac\n  case $command in\n" + lines + "    *) _trackrod_offer -W '" + names + " " + everywhere +
         "' ;;\n  esac\n}\ncomplete -F _trackrod trackrod\n";
}

}  // namespace trackrod
