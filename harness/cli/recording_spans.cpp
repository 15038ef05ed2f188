// Which stretches of an imported recording stand for steps, by file or by finding them.

#include <spdlog/fmt/fmt.h>

#include <algorithm>
#include <tuple>

#include "harness/base/text_file.hpp"
#include "harness/cli/import_recording.hpp"
#include "harness/recording/find_spans.hpp"
#include "harness/recording/spans_file.hpp"

namespace trackrod {
namespace {

constexpr auto by_plan = "plan";

std::vector<std::string> split(const std::string& text) {
  std::vector<std::string> out{""};
  for (const char c : text)
    if (c == ',')
      out.emplace_back();
    else if (c != ' ')
      out.back() += c;
  return out;
}

Result<SpanKind> kind_of(const std::string& word) {
  const std::vector<std::pair<std::string, SpanKind>> kinds{
      {"steps", SpanKind::steps}, {"sweeps", SpanKind::sweeps}, {"holds", SpanKind::holds}};
  std::vector<std::string> names;
  for (const auto& [name, kind] : kinds) {
    if (name == word) return kind;
    names.push_back(name);
  }
  return fail(Fault::bad_input, "--find '" + word + "'; allowed: " + one_of(names));
}

// --name plan: as the plan has them, when it has as many as were found.
Result<void> name_by_plan(const OpenedRun& run, SpanKind kind, FoundSpans& found) {
  if (!run.loaded.plan)
    return fail(Fault::bad_input, "--name plan: there is no plan here; score with --plan, or give the names");
  if (kind == SpanKind::holds)
    return fail(Fault::bad_input, "--name plan is for steps and sweeps; rests have no names in a plan's order");
  const bool steps = kind == SpanKind::steps;
  const std::vector<std::string> kinds =
      steps ? std::vector<std::string>{"step"} : std::vector<std::string>{"triangle", "sine", "chirp"};
  const auto order = order_of(*run.loaded.plan, kinds, found.all.size() + 100);
  if (order.size() != found.all.size())
    return fail(Fault::bad_input,
                "--name plan: the plan runs " + std::to_string(order.size()) + (steps ? " steps" : " sweeps") + " (" +
                    one_of(kinds) + "), and " + std::to_string(found.all.size()) +
                    " were found, so that nobody knows which is which; give the names, or write spans into a file for "
                    "--spans. What can shift the count: --least, --tolerance, and motion before or after the plan");
  for (std::size_t i = 0; i < order.size(); ++i) found.all[i].span.step = order[i];
  return {};
}

Result<FindSettings> settings_of(const SpanOptions& options, std::size_t which, const OpenedRun& run) {
  const CaptureView& capture = *run.capture;
  FindSettings s;
  const auto kind = kind_of(options.find[which]);
  if (!kind) return tl::unexpected<Error>{kind.error()};
  s.kind = *kind;
  std::vector<std::string> known;
  for (const auto& info : capture.signals()) known.push_back(info.name);
  const auto signal = capture.find(options.in);
  if (!signal)
    return fail(Fault::bad_input, (options.in.empty() ? "--find needs the signal to look in: --in SIGNAL"
                                                      : "--in '" + options.in + "': the recording has no such signal") +
                                      "; allowed: " + one_of(known));
  s.signal = *signal;
  if (which < options.names.size() && options.names[which] != by_plan) s.names = split(options.names[which]);
  for (const auto& [option, text, time] :
       {std::tuple{"--from", &options.from, &s.from}, std::tuple{"--to", &options.to, &s.to}}) {
    if (text->empty()) continue;
    const auto read = recording_time(*text, run.wall_of_zero());
    if (!read) return tl::unexpected<Error>{Error{read.error()}.within(option)};
    *time = *read;
  }
  if (s.from && s.to && *s.from >= *s.to)
    return fail(Fault::bad_input, "--from '" + options.from + "' is not before --to '" + options.to + "'");
  if (!options.least.empty()) {
    const auto least = parse_duration("--least", options.least);
    if (!least) return tl::unexpected<Error>{least.error()};
    s.least = *least;
  }
  if (!options.tolerance.empty()) {
    const auto& unit = capture.signals()[*signal].unit;
    const auto quantity = Quantity::parse(options.tolerance);
    const auto value =
        quantity ? quantity->in(Unit::known(unit)) : Result<double>{tl::unexpected<Error>{quantity.error()}};
    if (!value) return tl::unexpected<Error>{Error{value.error()}.within("--tolerance")};
    if (!(*value > 0.0))
      return fail(Fault::bad_input, "--tolerance: found '" + options.tolerance + "'; allowed: above 0 " + unit);
    s.tolerance = *value;
  }
  return s;
}

void tell(const FoundSpans& found, const FindSettings& settings, const std::string& kind, const CaptureView& capture,
          const Console& console) {
  const auto& info = capture.signals()[settings.signal];
  const bool holds = settings.kind == SpanKind::holds;
  console.say(fmt::format("{} in '{}': {} found (noise {} {}, at rest within {} {})", kind, info.name, found.all.size(),
                          shown(found.noise, 2), info.unit, shown(found.tolerance, 2), info.unit));
  if (found.all.empty()) return;
  std::size_t width = 4;
  for (const auto& f : found.all) width = std::max(width, f.span.step.size());
  console.say(fmt::format("  {:{}}  {:>12}  {:>12}  {:>12}  {:>14}", "name", width, "from / s", "to / s",
                          (holds ? "level / " : "size / ") + info.unit, "rate / (" + info.unit + "/s)"));
  const auto at = [](BenchTime t) { return fmt::format("{:.3f}", seconds(t.time_since_epoch())); };
  for (const auto& f : found.all)
    console.say(fmt::format("  {:{}}  {:>12}  {:>12}  {:>12}  {:>14}", f.span.step, width, at(f.span.from),
                            at(f.span.to), shown(f.size, 4), holds ? "" : shown(f.rate, 4)));
}

}  // namespace

Result<std::optional<std::vector<Span>>> spans_by(const SpanOptions& options, const OpenedRun& run, Console& console) {
  using Spans = std::vector<Span>;
  if (options.file.empty() && options.find.empty()) {
    if (!options.names.empty() || !(options.in + options.from + options.to + options.least + options.tolerance).empty())
      return fail(Fault::bad_input,
                  "--in, --name, --from, --to, --least and --tolerance go with --find steps, sweeps or holds");
    return std::optional<Spans>{};
  }
  Spans all;
  if (!options.file.empty()) {
    auto text = read_text(options.file);
    if (!text) return tl::unexpected<Error>{text.error()};
    Problems problems;
    all = parse_spans(*text, options.file, run.wall_of_zero(), problems);
    if (!problems.none()) {
      console.complain(problems);
      return fail(Fault::bad_input, "the spans of '" + options.file + "' were not taken");
    }
  }
  if (options.names.size() > options.find.size())
    return fail(Fault::bad_input,
                "more --name than --find: the names behind each --name go, separated by commas, to the --find of "
                "the same place");
  for (std::size_t i = 0; i < options.find.size(); ++i) {
    const auto settings = settings_of(options, i, run);
    if (!settings) return tl::unexpected<Error>{settings.error()};
    auto found = find_spans(*run.capture, *settings);
    if (!found) return tl::unexpected<Error>{found.error()};
    Result<void> named;
    if (i < options.names.size() && options.names[i] == by_plan) named = name_by_plan(run, settings->kind, *found);
    tell(*found, *settings, options.find[i], *run.capture, console);
    if (!named) return tl::unexpected<Error>{named.error()};
    for (const auto& f : found->all) all.push_back(f.span);
  }
  number_spans(all);
  return std::optional{std::move(all)};
}

}  // namespace trackrod
