// `trackrod preview`: what a plan will ask of the bench, in numbers, on the terminal and as a picture.

#include <cmath>
#include <nlohmann/json.hpp>

#include "harness/cli/commands.hpp"
#include "harness/cli/disk_room.hpp"
#include "harness/cli/follower.hpp"
#include "harness/cli/load.hpp"
#include "harness/cli/run_folder.hpp"
#include "harness/plan/injected.hpp"
#include "harness/plan/preview.hpp"
#include "harness/report/svg.hpp"
#include "harness/report/terminal_plot.hpp"

namespace trackrod {
namespace {

std::string at_most(double value, const std::string& unit) {
  return std::isfinite(value) ? shown(value, 4) + " " + unit : "a jump";
}

// The signal over the drawn time: its least and greatest value in each slice, so that no extreme is lost.
Figure figure_of(const PreviewSignal& signal, const SignalInfo& info) {
  Curve curve;
  curve.label = info.name;
  for (std::size_t i = 0; i < signal.curve.time.size(); ++i) {
    curve.x.insert(curve.x.end(), {signal.curve.time[i], signal.curve.time[i]});
    curve.y.insert(curve.y.end(), {signal.curve.low[i], signal.curve.high[i]});
  }
  return {info.name, "time / s", info.name + " / " + info.unit, {curve}, {}};
}

nlohmann::ordered_json json_of(const PreviewSignal& signal, const SignalInfo& info) {
  const auto finite = [](double v) {
    return std::isfinite(v) ? nlohmann::ordered_json(v) : nlohmann::ordered_json(nullptr);
  };
  nlohmann::ordered_json limits = nlohmann::ordered_json::array();
  for (const auto& use : signal.limits)
    limits.push_back({{"limit", use.limit},
                      {"asked", finite(use.asked)},
                      {"allowed", use.allowed},
                      {"unit", use.unit},
                      {"near", use.near}});
  return {{"signal", info.name},
          {"unit", info.unit},
          {"least", signal.extent.low},
          {"greatest", signal.extent.high},
          {"greatest_rate", finite(signal.extent.rate)},
          {"greatest_acceleration", finite(signal.extent.acceleration)},
          {"limits", limits}};
}

void tell_signal(const PreviewSignal& signal, const SignalInfo& info, const Console& console) {
  const auto figure = figure_of(signal, info);
  console.say(draw_terminal(figure, {console.width(), 9, console.unicode()}));
  console.say("  " + shown(signal.extent.low, 4) + " to " + shown(signal.extent.high, 4) + " " + info.unit +
              ", rate at most " + at_most(signal.extent.rate, info.unit + "/s") + ", acceleration at most " +
              at_most(signal.extent.acceleration, info.unit + "/s^2"));
  for (const auto& use : signal.limits)
    if (use.near)
      console.say("  near the bench's limit: " + use.limit + ": asks " + shown(use.asked, 4) + " of " +
                  shown(use.allowed, 4) + " " + use.unit);
}

std::string picture(const Preview& made, const Bench& bench) {
  constexpr int height = 260, width = 900;
  const auto total = std::to_string(height * static_cast<int>(made.signals.size()));
  std::string svg = "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"" + std::to_string(width) + "\" height=\"" +
                    total + "\" viewBox=\"0 0 " + std::to_string(width) + " " + total + "\">\n";
  int y = 0;
  for (const auto& signal : made.signals) {
    svg += "<g transform=\"translate(0 " + std::to_string(y) + ")\">\n" +
           draw_svg(figure_of(signal, bench.signals[signal.signal].info), {width, height}) + "</g>\n";
    y += height;
  }
  return svg + "</svg>\n";
}

}  // namespace

int preview_command(const PreviewChoice& options, Console& console) {
  Loaded loaded;
  if (const auto status = load_or_complain(options.files.bench, options.files.plan, options.files.set, console, loaded))
    return *status;
  auto made = preview(*loaded.timeline, *loaded.bench);
  const auto need = capture_need(*loaded.timeline, *loaded.bench, summarised_signals(*loaded.plan).size());
  made.notes.insert(made.notes.begin(), loaded.plan->left_out.begin(), loaded.plan->left_out.end());
  console.say("plan '" + loaded.plan->name + "' on bench '" + loaded.bench->name +
              "': " + shown_time(seconds(made.length)) + " and " + shown_time(seconds(made.settle)) + " to settle, " +
              std::to_string(made.steps) + " steps, about " + shown(need.journal / 1e6, 3) + " MB of journal and " +
              shown(need.archive / 1e6, 3) + " MB of archive");
  if (need.kept_rate > 0.0)
    console.say("of its long repeat some " + shown(3600.0 * need.kept_rate / 1e6, 3) +
                " MB an hour are kept in the journal, of " + shown(3600.0 * need.full_rate / 1e6, 3) +
                " MB that are written");
  console.say("a run ends in good order when less than " + shown(reserve_bytes(need) / 1e6, 3) + " MB are free");
  const auto faults = injected_faults(*loaded.timeline, *loaded.bench);
  for (const auto& fault : faults) console.say("  makes the fault '" + fault + "'");
  nlohmann::ordered_json j{{"plan", loaded.plan->name},
                           {"duration_s", seconds(made.length)},
                           {"settle_s", seconds(made.settle)},
                           {"steps", made.steps},
                           {"endless", made.endless},
                           {"journal_bytes", need.journal},
                           {"archive_bytes", need.archive},
                           {"kept_bytes_per_s", need.kept_rate},
                           {"faults", faults},
                           {"notes", made.notes},
                           {"signals", nlohmann::ordered_json::array()}};
  for (const auto& signal : made.signals) {
    const auto& info = loaded.bench->signals[signal.signal].info;
    tell_signal(signal, info, console);
    j["signals"].push_back(json_of(signal, info));
  }
  for (const auto& stretch : made.stretches)
    if (stretch.times > 1)
      console.say("  drawn once, run " +
                  (stretch.times == without_end ? "until the repeat ends" : std::to_string(stretch.times) + " times") +
                  ": " + stretch.step);
  for (const auto& note : made.notes) console.say("note: " + note);
  if (!options.svg.empty()) {
    if (auto written = write_text(options.svg, picture(made, *loaded.bench)); !written)
      return console.complain(written.error()), harness_failed;
    console.say("picture: " + options.svg);
  }
  console.give(j.dump(2) + "\n");
  return all_pass;
}

}  // namespace trackrod
