#include "drivers/protocol/scpi_settings.hpp"

#include <cmath>
#include <map>

namespace trackrod {
namespace {

using namespace std::chrono_literals;

const Fields<ScpiSetting>& setting_fields() {
  static const auto fields = Fields<ScpiSetting>{"scpi_setting", "A value that is set on the instrument"}
                                 .need("write", &ScpiSetting::write, located(text()),
                                       "command that sets it; {} stands for the number, as in \"VOLT {}\"")
                                 .may("read_back", &ScpiSetting::read_back, maybe(located(text())),
                                      "query that tells what is set, as \"VOLT?\"")
                                 .may("tolerance", &ScpiSetting::tolerance, maybe(number(0, 1e9)),
                                      "how far what is read back may differ (default: one step of the last digit sent)")
                                 .may("digits", &ScpiSetting::digits, integer<int>(0, 9),
                                      "digits sent behind the decimal point (default 4; 0 for on and off)");
  return fields;
}

const Fields<ScpiReading>& reading_fields() {
  static const auto fields = Fields<ScpiReading>{"scpi_reading", "A value that is asked for again and again"}
                                 .need("query", &ScpiReading::query, located(text()), "the question, as \"MEAS:VOLT?\"")
                                 .need("every", &ScpiReading::every, duration(1ms, 1h), "how often it is asked");
  return fields;
}

constexpr std::size_t longest_text = 100;  // characters; instruments with small buffers take no longer lines

void check_one_line(const Located<std::string>& text, Problems& problems) {
  if (text.value.size() > longest_text)
    problems.add(text.at, "found a text of " + std::to_string(text.value.size()) + " characters",
                 "at most " + std::to_string(longest_text));
  if (text.value.find_first_of("\r\n;") != std::string::npos)
    problems.add(text.at, "found a line end or ';' in the text", "one command", "line ends are added: see 'line_end'");
}

void check_query(const Located<std::string>& query, Problems& problems) {
  check_one_line(query, problems);
  if (query.value.find('?') == std::string::npos)
    problems.add(query.at, "found \"" + query.value + "\"", "a query: its header ends with '?'");
}

void check_write(const Located<std::string>& write, Problems& problems) {
  check_one_line(write, problems);
  const auto first = write.value.find("{}");
  if (first == std::string::npos || write.value.find("{}", first + 2) != std::string::npos)
    problems.add(write.at, "found \"" + write.value + "\"",
                 "{} exactly once, where the number goes, as in \"VOLT {}\"");
  if (write.value.find('?') != std::string::npos)
    problems.add(write.at, "found a query, \"" + write.value + "\"", "a command without '?'",
                 "queries go into 'read_back'");
}

}  // namespace

double ScpiSetting::step() const { return std::pow(10.0, -digits); }

const Fields<ScpiSettings>& scpi_fields() {
  static const auto fields =
      Fields<ScpiSettings>{"scpi", "An instrument that speaks IEEE 488.2 / SCPI, such as a programmable supply"}
          .may("identify", &ScpiSettings::identify, maybe(located(text())),
               "text that its answer to *IDN? must contain; before that nothing is set or read")
          .may("settings", &ScpiSettings::settings, dictionary(object(setting_fields)), "values that are set, by name")
          .may("readings", &ScpiSettings::readings, dictionary(object(reading_fields)), "values that are read, by name")
          .may("error_query", &ScpiSettings::error_query, located(text()),
               "query that takes one entry of the error queue (default: \"SYST:ERR?\")")
          .may("timeout", &ScpiSettings::timeout, duration(1ms, 10s), "longest wait for an answer (default: 200 ms)")
          .may("line_end", &ScpiSettings::line_end, choice<std::string>({{"\n", "\n"}, {"\r\n", "\r\n"}, {"\r", "\r"}}),
               "what ends a line that we send (default: \"\\n\"); answers may end in any of them");
  return fields;
}

std::vector<FieldInfo> check_scpi(const ScpiSettings& settings, Problems& problems) {
  std::vector<FieldInfo> all;
  std::map<std::string, Where> first;
  const auto once = [&](const Name& name) {
    const auto [seen, is_new] = first.emplace(name.value, name.at);
    if (!is_new)
      problems.add(
          name.at, "the name '" + name.value + "' stands in line " + std::to_string(seen->second.line) + " already",
          "each name once among settings and readings", "name what is measured after that: \"measured_voltage\"");
    return is_new;
  };
  check_query(settings.error_query, problems);
  if (settings.identify) check_one_line(*settings.identify, problems);
  for (const auto& [name, setting] : settings.settings) {
    check_write(setting.write, problems);
    if (setting.read_back) check_query(*setting.read_back, problems);
    if (once(name)) all.push_back({name.value, false, true, setting.step(), 0.0, 0.0, 0.0});
  }
  for (const auto& [name, reading] : settings.readings) {
    check_query(reading.query, problems);
    if (once(name)) all.push_back({name.value, true, false, 0.0, 0.0, 0.0, 0.0});
  }
  return all;
}

}  // namespace trackrod
