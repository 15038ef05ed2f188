#include "harness/cli/live_table.hpp"

#include <cmath>
#include <nlohmann/json.hpp>

#include "harness/report/text.hpp"

namespace trackrod {
namespace {

using Json = nlohmann::ordered_json;

std::string ms(Duration d) { return shown(1e3 * seconds(d), 3); }

std::string spacing_words(const Spacing& s) {
  if (s.count == 0) return "-";
  return ms(s.mean) + " ms (" + ms(s.least) + " to " + ms(s.most) + ")";
}

Json spacing_json(const Spacing& s) {
  if (s.count == 0) return nullptr;
  return {{"count", s.count},
          {"mean_ms", 1e3 * seconds(s.mean)},
          {"least_ms", 1e3 * seconds(s.least)},
          {"most_ms", 1e3 * seconds(s.most)}};
}

// Parts in a million by which the device's clock runs fast.
double fast_ppm(const ClockModel& clock) { return 1e6 * (1.0 / (1.0 + clock.drift()) - 1.0); }

std::string clock_words(const DeviceLook& device) {
  std::string words;
  for (const auto& [message, clock] : device.clocks) {
    if (!words.empty()) words += "; ";
    words += clock.settled() ? shown(clock.ahead(), 10) + " s, " + shown(fast_ppm(clock), 3) + " ppm, " +
                                   shown(1e6 * seconds(clock.residual()), 2) + " us"
                             : "not known yet";
  }
  return words.empty() ? "-" : words;
}

Json clocks_json(const DeviceLook& device) {
  Json all = Json::array();
  for (const auto& [message, clock] : device.clocks) {
    const auto known = [&clock = clock](double value) { return clock.settled() ? Json(value) : Json(nullptr); };
    all.push_back({{"message", message},
                   {"ahead_s", known(clock.ahead())},
                   {"fast_ppm", known(fast_ppm(clock))},
                   {"residual_us", known(1e6 * seconds(clock.residual()))},
                   {"steps", clock.steps()},
                   {"outliers", clock.outliers()}});
  }
  return all;
}

// What gets its power by arming has none now.
bool may_be_silent(const DeviceSpec& device, const DeviceLook& look) {
  return device.silent_until_armed && look.trouble.empty();
}

const char* state_word(const DeviceSpec& device, const DeviceLook& look) {
  if (!look.trouble.empty()) return "NO LINK";
  if (look.alive) return "alive";
  return may_be_silent(device, look) ? "no power" : "SILENT";
}

// Codes and counts stand alone.
std::string with_unit(const std::string& number, const SignalInfo& info) {
  return info.unit == "1" ? number : number + " " + info.unit;
}

// Lines as one, for a table.
std::string on_one_line(std::string text) {
  for (std::size_t at = 0; (at = text.find('\n', at)) != std::string::npos; at += 2) text.replace(at, 1, "; ");
  return text;
}

bool out_of_range(const SignalInfo& info, double value) { return value < info.range_low || value > info.range_high; }

std::string value_words(const SignalInfo& info, const SignalLook& look) {
  if (!look.last) return "no sample";
  if (std::isnan(look.last->value)) return "no value";
  auto words = with_unit(shown(look.last->value), info);
  if (out_of_range(info, look.last->value)) words += " OUT OF RANGE";
  return words;
}

std::string device_rows(const Bench& bench, const BenchLook& look) {
  std::vector<std::vector<std::string>> rows{{"DEVICE", "STATE", "CYCLE (LEAST TO MOST)", "ANSWER (LEAST TO MOST)",
                                              "LOST", "BAD", "DROPPED", "OWN CLOCK (AHEAD, FAST, RESIDUAL)", "LINK"}};
  for (std::size_t i = 0; i < bench.devices.size(); ++i) {
    const auto& d = look.devices[i];
    rows.push_back({bench.devices[i].name, state_word(bench.devices[i], d), spacing_words(d.cycle),
                    spacing_words(d.answer), std::to_string(d.counters.lost),
                    std::to_string(d.counters.bad_checksum + d.counters.bad_length),
                    std::to_string(d.dropped_by_kernel), clock_words(d), d.link});
  }
  auto text = grid(rows);
  for (std::size_t i = 0; i < bench.devices.size(); ++i) {
    const auto& d = look.devices[i];
    const auto say = [&](const std::string& words) { text += bench.devices[i].name + ": " + words + "\n"; };
    if (!d.trouble.empty()) say(d.trouble);
    if (!d.remark.empty()) say(d.remark);
    if (!d.identity.empty()) say("it says: " + on_one_line(d.identity));
    for (const auto& message : d.messages) say(message);
    if (d.echo) say("its frames were on the bus within " + ms(*d.echo) + " ms (echo)");
    for (const auto& [message, clock] : d.clocks) {
      if (!clock.settled())
        say("its clock in '" + message + "' is not known yet: that takes two seconds of messages; look longer (--for)");
      else if (clock.steps() + clock.outliers() > 0)
        say("its clock in '" + message + "': " + std::to_string(clock.steps()) + " steps and " +
            std::to_string(clock.outliers()) + " stamps from the future");
    }
    if (d.foreign > 0) say(std::to_string(d.foreign) + " messages from senders that are not the configured peer");
    if (!d.alive && may_be_silent(bench.devices[i], d))
      say("silent, as it may be before the bench is armed");
    else if (d.trouble.empty() && !d.alive)
      say("nothing intact came within its timeout; look at power, wiring, address and bit rate");
  }
  return text;
}

std::string signal_rows(const Bench& bench, const BenchLook& look, const std::string& today) {
  std::vector<std::vector<std::string>> rows{{"SIGNAL", "VALUE", "RANGE", "CYCLE (LEAST TO MOST)", "CALIBRATION"}};
  for (std::size_t i = 0; i < bench.signals.size(); ++i) {
    const auto& info = bench.signals[i].info;
    if (info.direction != Direction::read) continue;
    rows.push_back({info.name, value_words(info, look.signals[i]),
                    with_unit(shown(info.range_low) + " to " + shown(info.range_high), info),
                    spacing_words(look.signals[i].cycle), calibration_words(info.calibration, today)});
  }
  return grid(rows);
}

}  // namespace

std::string calibration_words(const Calibration& calibration, const std::string& today) {
  if (calibration.date.empty()) return "none";
  const auto paper = calibration.certificate.empty() ? "" : " (certificate " + calibration.certificate + ")";
  if (calibration.due.empty()) return "of " + calibration.date + paper;
  return (calibration.due < today ? "LAPSED on " : "until ") + calibration.due + paper;  // ISO dates sort as text
}

std::string live_table(const Bench& bench, const BenchLook& look, const std::string& today) {
  return device_rows(bench, look) + "\n" + signal_rows(bench, look, today);
}

std::string live_json(const Bench& bench, const BenchLook& look, const std::string& today) {
  Json devices = Json::array(), signals = Json::array();
  for (std::size_t i = 0; i < bench.devices.size(); ++i) {
    const auto& d = look.devices[i];
    devices.push_back({{"device", bench.devices[i].name},
                       {"link", d.link},
                       {"alive", d.alive},
                       {"trouble", d.trouble},
                       {"remark", d.remark},
                       {"identity", d.identity},
                       {"cycle", spacing_json(d.cycle)},
                       {"answer", spacing_json(d.answer)},
                       {"echo_ms", d.echo ? Json(1e3 * seconds(*d.echo)) : Json(nullptr)},
                       {"clocks", clocks_json(d)},
                       {"messages_taken", d.counters.good},
                       {"lost", d.counters.lost},
                       {"repeated", d.counters.repeated},
                       {"bad_checksum", d.counters.bad_checksum},
                       {"bad_length", d.counters.bad_length},
                       {"unanswered", d.counters.timed_out},
                       {"refused", d.counters.refused},
                       {"dropped_by_kernel", d.dropped_by_kernel},
                       {"foreign", d.foreign},
                       {"told", d.messages}});
  }
  for (std::size_t i = 0; i < bench.signals.size(); ++i) {
    const auto& info = bench.signals[i].info;
    if (info.direction != Direction::read) continue;
    const auto& s = look.signals[i];
    const bool number = s.last && !std::isnan(s.last->value);
    signals.push_back({{"signal", info.name},
                       {"value", number ? Json(s.last->value) : Json(nullptr)},
                       {"unit", info.unit},
                       {"range", {info.range_low, info.range_high}},
                       {"in_range", number ? Json(!out_of_range(info, s.last->value)) : Json(nullptr)},
                       {"cycle", spacing_json(s.cycle)},
                       {"no_value", s.missing},
                       {"calibration", calibration_words(info.calibration, today)}});
  }
  return Json{{"bench", bench.name}, {"devices", devices}, {"signals", signals}}.dump(2) + "\n";
}

ExitStatus live_status(const Bench& bench, const BenchLook& look) {
  for (std::size_t i = 0; i < bench.devices.size(); ++i)
    if (!look.devices[i].alive && !may_be_silent(bench.devices[i], look.devices[i])) return harness_failed;
  for (std::size_t i = 0; i < bench.signals.size(); ++i)
    if (const auto& last = look.signals[i].last; last && out_of_range(bench.signals[i].info, last->value))
      return a_fail;
  return all_pass;
}

}  // namespace trackrod
