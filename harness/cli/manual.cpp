#include "harness/cli/manual.hpp"

#include <algorithm>
#include <sstream>

#include "harness/cli/cautions.hpp"
#include "harness/cli/option_words.hpp"
#include "harness/cli/run_folder.hpp"
#include "harness/cli/version.hpp"

namespace trackrod {
namespace {

// Text of one line as man(7) reads it.
std::string roff(const std::string& text) {
  std::string out;
  for (const char c : text) {
    if (c == '\\')
      out += "\\e";
    else if (c == '-')
      out += "\\-";
    else
      out += c;
  }
  return out.empty() || (out.front() != '.' && out.front() != '\'') ? out : "\\&" + out;
}
std::string bold(const std::string& text) { return "\\fB" + roff(text) + "\\fR"; }
std::string slanted(const std::string& text) { return "\\fI" + roff(text) + "\\fR"; }

std::string section(const std::string& title) { return ".SH " + title + "\n"; }
std::string entry(const std::string& what, const std::string& words) { return ".TP\n" + what + "\n" + words + "\n"; }

// Lines as they are broken, without what they are set in by.
std::string lines(const std::string& text) {
  std::string out;
  std::istringstream in{text};
  for (std::string line; std::getline(in, line);) {
    const auto begin = line.find_first_not_of(' ');
    if (begin == line.npos) continue;
    line.erase(0, begin);
    out += line.rfind("- ", 0) == 0 ? ".IP \\(bu 2\n" + roff(line.substr(2)) + "\n" : roff(line) + "\n";
  }
  return out;
}

std::string heading(const std::string& title, const std::string& name, const std::string& words) {
  std::string capitals = title;
  std::transform(capitals.begin(), capitals.end(), capitals.begin(),
                 [](unsigned char c) { return static_cast<char>(std::toupper(c)); });
  return ".\\\" Made from the program's own table of options; see its source.\n.TH " + roff(capitals) + " 1 \"\" \"" +
         roff(program_version) + "\" \"Bench tests\"\n" + section("NAME") + name + " \\- " + roff(words) + "\n";
}

std::string cautions_section() { return section("CAUTIONS") + lines(cautions); }

std::string value_of(const CLI::Option& option) {
  if (!takes_value(option)) return "";
  const auto values = listed_values(option);
  return " " + slanted(values.empty() ? option.get_type_name() : "VALUE");
}

std::string described(const CLI::Option& option) {
  auto words = roff(option.get_description());
  if (option.get_required() && !option.get_positional()) words += " (required)";
  if (!option.get_default_str().empty()) words += " (default: " + roff(option.get_default_str()) + ")";
  return words;
}

std::string options_section(const CLI::App& command) {
  std::string out = section("OPTIONS");
  for (const auto* argument : arguments_of(command))
    out += entry(slanted(argument->get_name(true)), described(*argument));
  for (const auto* option : options_of(command))
    out += entry(bold(dashed_name(*option)) + value_of(*option), described(*option));
  return out;
}

std::string synopsis(const CLI::App& command) {
  std::string out = section("SYNOPSIS") + bold("trackrod " + command.get_name());
  for (const auto* argument : arguments_of(command))
    out += argument->get_required() ? " " + slanted(argument->get_name(true))
                                    : " [" + slanted(argument->get_name(true)) + "]";
  for (const auto* option : options_of(command))
    if (option->get_required()) out += " " + bold(dashed_name(*option)) + value_of(*option);
  return out + " [" + slanted("OPTIONS") + "]\n";
}

std::string files_section() {
  return section("FILES") +
         entry(slanted("/usr/share/trackrod/plans"), "plans that run on the bench of the demonstration") +
         entry(slanted("/usr/share/trackrod/fixtures/demo_bench"), "that bench, all invented") +
         entry(slanted("/usr/share/trackrod/docs/schema"), "JSON Schemas of bench, plan and other files, for editors") +
         entry(slanted("/usr/share/doc/trackrod"),
               "the manual in full: bench and plan files, scores, links, safety, "
               "the service");
}

}  // namespace

std::string manual_page(const CLI::App& app) {
  auto out = heading("trackrod", "trackrod", "bench tests of steer-by-wire units");
  out += section("SYNOPSIS") + bold("trackrod") + " " + slanted("COMMAND") + " [" + slanted("OPTIONS") + "]\n";
  out += section("DESCRIPTION") + roff(app.get_description()) + "\n" + cautions_section() + section("COMMANDS");
  std::string pages;
  for (const auto* command : commands_of(app)) {
    out += entry(bold(command->get_name()), roff(command->get_description()));
    pages += (pages.empty() ? "" : ",\n") + (".BR trackrod\\-" + roff(command->get_name())) + " (1)";
  }
  out += options_section(app) + section("EXIT STATUS") + lines(app.get_footer()) + files_section();
  return out + section("SEE ALSO") + pages + "\n";
}

std::string manual_page(const CLI::App& app, const CLI::App& command) {
  const auto name = "trackrod-" + command.get_name();
  auto out = heading(name, roff(name), command.get_description()) + synopsis(command) + options_section(command);
  out += ".PP\nOptions of all commands stand in\n.BR trackrod (1).\n" + cautions_section();
  return out + section("EXIT STATUS") + lines(app.get_footer()) + section("SEE ALSO") +
         ".BR trackrod (1),\n/usr/share/doc/trackrod\n";
}

Result<void> write_manual(const CLI::App& app, const std::string& folder) {
  if (auto w = write_text(folder + "/trackrod.1", manual_page(app)); !w) return w;
  for (const auto* command : commands_of(app))
    if (auto w = write_text(folder + "/trackrod-" + command->get_name() + ".1", manual_page(app, *command)); !w)
      return w;
  return {};
}

}  // namespace trackrod
