#include "drivers/protocol/scpi_settings.hpp"

#include <cmath>
#include <map>

namespace trackrod {
namespace {

using namespace std::chrono_literals;

const Fields<ScpiList>& list_fields() {
  static const auto fields =
      Fields<ScpiList>{"scpi_list", "A list of values that the instrument runs by itself, once it is told to start"}
          .need("points", &ScpiList::points, integer<int>(2, 4096), "most points that it takes")
          .may("shortest", &ScpiList::shortest, duration(100us, 1s),
               "shortest dwell of a point; others are whole multiples of it (default: 1 ms)")
          .may("longest", &ScpiList::longest, duration(1ms, 1h), "longest dwell of a point (default: 10 s)")
          .may("levels", &ScpiList::levels, located(text()), "header before the values (default: \"LIST:VOLT\")")
          .may("dwells", &ScpiList::dwells, located(text()),
               "header before their dwells in seconds (default: \"LIST:DWEL\")")
          .may("count", &ScpiList::count, located(text()), "command that has it run once (default: \"LIST:COUN 1\")")
          .may("on", &ScpiList::on, located(text()),
               "command after which it waits for its start (default: \"VOLT:MODE LIST\")")
          .may("off", &ScpiList::off, located(text()), "command back to the plain value (default: \"VOLT:MODE FIX\")")
          .may("start", &ScpiList::start, located(text()), "command that starts it (default: \"INIT\")")
          .may("abort", &ScpiList::abort, located(text()), "command that ends it at once (default: \"ABOR\")");
  return fields;
}

const Fields<ScpiSetting>& setting_fields() {
  static const auto fields = Fields<ScpiSetting>{"scpi_setting", "A value that is set on the instrument"}
                                 .need("write", &ScpiSetting::write, located(text()),
                                       "command that sets it; {} stands for the number, as in \"VOLT {}\"")
                                 .may("read_back", &ScpiSetting::read_back, maybe(located(text())),
                                      "query that tells what is set, as \"VOLT?\"")
                                 .may("tolerance", &ScpiSetting::tolerance, maybe(number(0, 1e9)),
                                      "how far what is read back may differ (default: one step of the last digit sent)")
                                 .may("list", &ScpiSetting::list, maybe(located(object(list_fields))),
                                      "the instrument can run a list of values by itself")
                                 .may("digits", &ScpiSetting::digits, integer<int>(0, 9),
                                      "digits sent behind the decimal point (default 4; 0 for on and off)");
  return fields;
}

const Fields<ScpiRelay>& relay_fields() {
  static const auto fields =
      Fields<ScpiRelay>{"scpi_relay",
                        "Channels of a relay box that are closed and opened together, or one way at a time"}
          .may("channels", &ScpiRelay::channels, maybe(located(text())),
               "channel list without brackets, as \"101,103:105\", closed by 1 and opened by 0")
          .may("ways", &ScpiRelay::ways, list(located(text()), 2, 32),
               "instead: channel lists of which at most one is closed; 1 closes the first, 2 the second, 0 none. The "
               "others are opened before, and have to answer so")
          .may("close", &ScpiRelay::close, located(text()), "header that closes them (default: \"ROUT:CLOS\")")
          .may("open", &ScpiRelay::open, located(text()), "header that opens them (default: \"ROUT:OPEN\")")
          .may("query", &ScpiRelay::query, located(text()),
               "header that asks which are closed (default: \"ROUT:CLOS?\"); answers 1 or 0 for each");
  return fields;
}

const Fields<BlockItem>& block_fields() {
  using T = BlockItem::Type;
  static const auto fields =
      Fields<BlockItem>{"scpi_block", "One number of an answer that is a definite-length block, \"#216...\""}
          .need("type", &BlockItem::type,
                choice<T>({{"real32", T::real32},
                           {"real64", T::real64},
                           {"int8", T::int8},
                           {"int16", T::int16},
                           {"int32", T::int32}}),
                "type of the numbers in it")
          .may("order", &BlockItem::order, choice<ByteOrder>({{"big", ByteOrder::big}, {"little", ByteOrder::little}}),
               "byte order (default: big, as FORMat:BORDer NORMal)")
          .may("item", &BlockItem::item, integer<int>(0, 1023), "which number, from 0 (default 0)");
  return fields;
}

const Fields<ScpiReading>& reading_fields() {
  static const auto fields =
      Fields<ScpiReading>{"scpi_reading", "A value that is asked for again and again"}
          .need("query", &ScpiReading::query, located(text()), "the question, as \"MEAS:VOLT?\"")
          .need("every", &ScpiReading::every, duration(1ms, 1h), "how often it is asked")
          .may("block", &ScpiReading::block, maybe(object(block_fields)), "for an answer that is a block of numbers");
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

void check_header(const Located<std::string>& header, bool query, Problems& problems) {
  check_one_line(header, problems);
  if (header.value.ends_with('?') != query || header.value.find_first_of(" (){}") != std::string::npos)
    problems.add(header.at, "found \"" + header.value + "\"",
                 query ? "a header that ends with '?', as \"ROUT:CLOS?\"" : "a header, as \"ROUT:CLOS\"",
                 "the channel list is added");
}

void check_channels(const Located<std::string>& channels, Problems& problems) {
  check_one_line(channels, problems);
  constexpr const char* allowed = "0123456789,:!";  // '!' parts the dimensions of a channel's number (SCPI-1999)
  const auto is_digit = [&](char c) { return c >= '0' && c <= '9'; };
  bool good = channels.value.find_first_not_of(allowed) == std::string::npos;
  for (std::size_t i = 0; good && i < channels.value.size(); ++i) {
    const bool inner = i > 0 && i + 1 < channels.value.size();
    good = is_digit(channels.value[i]) || (inner && is_digit(channels.value[i - 1]) && is_digit(channels.value[i + 1]));
  }
  if (!good)
    problems.add(channels.at, "found \"" + channels.value + "\"", "channel numbers and ranges, as \"101,103:105\"",
                 "leave out \"(@\" and \")\": they are added");
}

void check_relay(const Name& name, const ScpiRelay& relay, Problems& problems) {
  check_header(relay.close, false, problems);
  check_header(relay.open, false, problems);
  check_header(relay.query, true, problems);
  if (relay.channels.has_value() != relay.ways.empty())
    problems.add(name.at, relay.channels ? "found both 'channels' and 'ways'" : "found neither 'channels' nor 'ways'",
                 "one of them", "'channels' for a relay that is closed or open, 'ways' for one that chooses");
  for (const auto& way : relay.each_way()) check_channels(way, problems);
  if (const auto all = relay.channels_but(0).size(); !relay.ways.empty() && all > longest_text)
    problems.add(relay.ways.front().at, "found " + std::to_string(all) + " characters in all ways together",
                 "at most " + std::to_string(longest_text), "one message opens them all: write ranges, as \"101:105\"");
}

// A half-sent line with this behind it must be wrong, whatever it is: a letter or digit could complete a command, and
// IEEE 488.2 (7.4.1.2) takes control characters other than the line feed for blanks.
void check_cut_off(const Located<std::string>& cut_off, Problems& problems) {
  check_one_line(cut_off, problems);
  if (cut_off.value.find('!') == std::string::npos || cut_off.value.find_first_of("\"'#") != std::string::npos)
    problems.add(cut_off.at, "found \"" + cut_off.value + "\"",
                 "a text with '!', which no command holds, and without quotation marks and '#'",
                 "leave it out for \",@!\"");
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

void check_command(const Located<std::string>& command, Problems& problems) {
  check_one_line(command, problems);
  if (command.value.find('?') != std::string::npos)
    problems.add(command.at, "found a query, \"" + command.value + "\"", "a command without '?'");
}

void check_list(const Located<ScpiList>& list, Problems& problems) {
  const auto& l = list.value;
  check_header(l.levels, false, problems);
  check_header(l.dwells, false, problems);
  for (const auto* command : {&l.count, &l.on, &l.off, &l.start, &l.abort}) check_command(*command, problems);
  if (l.shortest >= l.longest)
    problems.add(list.at, "'shortest' not below 'longest'", "a range of dwells", "the defaults are 1 ms and 10 s");
}

}  // namespace

double ScpiSetting::step() const { return std::pow(10.0, -digits); }

std::vector<Located<std::string>> ScpiRelay::each_way() const {
  return channels ? std::vector<Located<std::string>>{*channels} : ways;
}

std::string ScpiRelay::channels_but(std::size_t way) const {
  const auto all = each_way();
  std::string list;
  for (std::size_t i = 0; i < all.size(); ++i)
    if (i + 1 != way) list += (list.empty() ? "" : ",") + all[i].value;
  return list;
}

std::string scpi_route(const Located<std::string>& header, const std::string& channels) {
  return header.value + " (@" + channels + ")";
}

const Fields<ScpiSettings>& scpi_fields() {
  static const auto fields =
      Fields<ScpiSettings>{"scpi", "An instrument that speaks IEEE 488.2 / SCPI, such as a programmable supply"}
          .may("identify", &ScpiSettings::identify, maybe(located(text())),
               "text that its answer to *IDN? must contain; before that nothing is set or read")
          .may("settings", &ScpiSettings::settings, dictionary(object(setting_fields)), "values that are set, by name")
          .may("relays", &ScpiSettings::relays, dictionary(object(relay_fields)),
               "relays that are closed (1) and opened (0), or choose a way (1, 2, ...), by name")
          .may("readings", &ScpiSettings::readings, dictionary(object(reading_fields)), "values that are read, by name")
          .may("error_query", &ScpiSettings::error_query, located(text()),
               "query that takes one entry of the error queue (default: \"SYST:ERR?\")")
          .may("timeout", &ScpiSettings::timeout, duration(1ms, 10s), "longest wait for an answer (default: 200 ms)")
          .may("line_end", &ScpiSettings::line_end, choice<std::string>({{"\n", "\n"}, {"\r\n", "\r\n"}, {"\r", "\r"}}),
               "what ends a line that we send (default: \"\\n\"); answers may end in any of them")
          .may("cut_off", &ScpiSettings::cut_off, located(text()),
               "sent, with a line end, when another process takes over: makes the instrument refuse a half-sent line "
               "(default: \",@!\")");
  return fields;
}

std::vector<FieldInfo> check_scpi(const ScpiSettings& settings, Problems& problems) {
  std::vector<FieldInfo> all;
  std::map<std::string, Where> first;
  const auto once = [&](const Name& name) {
    const auto [seen, is_new] = first.emplace(name.value, name.at);
    if (!is_new)
      problems.add(name.at,
                   "the name '" + name.value + "' stands in line " + std::to_string(seen->second.line) + " already",
                   "each name once among settings, relays and readings",
                   "name what is measured after that: \"measured_voltage\"");
    return is_new;
  };
  check_query(settings.error_query, problems);
  if (settings.identify) check_one_line(*settings.identify, problems);
  for (const auto& [name, setting] : settings.settings) {
    check_write(setting.write, problems);
    if (setting.read_back) check_query(*setting.read_back, problems);
    if (setting.list) check_list(*setting.list, problems);
    if (!once(name)) continue;
    all.push_back({name.value, false, true, setting.step(), 0.0, 0.0, 0.0});
    if (setting.list)
      all.back().list = ListAbility{static_cast<std::size_t>(setting.list->value.points), setting.list->value.shortest,
                                    setting.list->value.longest};
  }
  check_cut_off(settings.cut_off, problems);
  for (const auto& [name, relay] : settings.relays) {
    check_relay(name, relay, problems);
    const auto ways = static_cast<double>(relay.each_way().size());
    if (once(name)) all.push_back({name.value, false, true, 1.0, 0.0, 0.0, ways});
  }
  for (const auto& [name, reading] : settings.readings) {
    check_query(reading.query, problems);
    if (once(name)) all.push_back({name.value, true, false, 0.0, 0.0, 0.0, 0.0});
  }
  return all;
}

}  // namespace trackrod
