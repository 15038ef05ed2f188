// `trackrod calibrate --skew`: what a run measured, as a dated entry of the bench file. Drives nothing.

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <iterator>
#include <nlohmann/json.hpp>

#include "harness/base/units.hpp"
#include "harness/cli/commands.hpp"
#include "harness/cli/open_run.hpp"
#include "harness/cli/skew_entry.hpp"
#include "harness/report/table.hpp"
#include "harness/score/budget.hpp"
#include "harness/score/scoring.hpp"

namespace trackrod {
namespace {

namespace fs = std::filesystem;
using Json = nlohmann::ordered_json;

// Only what a rig did from beginning to end counts.
Result<void> fit_to_calibrate(const OpenedRun& run) {
  const auto refused = [&](const std::string& found, const std::string& allowed) {
    return fail(Fault::bad_input, "--from '" + run.folder.path() + "': found " + found + "; allowed: " + allowed);
  };
  if (run.record.imported)
    return fail(Fault::bad_input, "'" + run.folder.path() +
                                      "' holds a recording made elsewhere; allowed: a run on the bench itself, whose "
                                      "sensors and clocks the skew is for");
  if (run.record.rehearsal)
    return refused("a rehearsal, which knows the simulated bench alone", "a run of the rig; record one: trackrod run");
  if (!run.record.ended.empty() && run.record.as_planned && run.record.safe_reached && run.capture->losses().empty())
    return {};
  std::string found = "a run that " + (run.record.ended.empty() ? "never ended" : "ended: " + run.record.ending);
  for (const auto& note : run.record.notes) found += "; " + note;
  return refused(found, "one that went to its end as planned and was recorded whole; run it again");
}

// The read signal of that name; it must be the same in the bench of the run.
Result<SignalIndex> same_signal(const std::string& name, const Bench& bench, const Bench& then) {
  std::vector<std::string> names;
  for (const auto& s : bench.signals)
    if (s.info.direction == Direction::read) names.push_back(s.info.name);
  if (std::find(names.begin(), names.end(), name) == names.end())
    return fail(Fault::bad_input, "--skew: found '" + name + "'; allowed: a read signal: " + one_of(names) + "; " +
                                      did_you_mean(name, names));
  const auto& now = bench.signals[*bench.find(name)];
  const auto index = then.find(name);
  if (bench.name != then.name || !index || then.signals[*index].info.device != now.info.device ||
      then.signals[*index].field != now.field)
    return fail(Fault::bad_input, "--skew: '" + name + "' of bench '" + bench.name +
                                      "' is not what the run recorded on bench '" + then.name +
                                      "'; allowed: the same bench, device and field");
  return *index;
}

Result<std::any> settings_of(const ScoreEntry& score, const CalibrateOptions& options) {
  Json written = Json::object();
  if (!options.sign.empty()) written["sign"] = options.sign;
  if (!options.longest.empty()) written["longest"] = options.longest;
  Problems problems;
  std::any settings;
  const auto node = parse_json(written.dump(), "--sign, --longest", problems);
  if (!node || !score.settings.read(*node, "score", settings, problems))
    return fail(Fault::bad_input, problems.sorted().front().sentence());
  return settings;
}

Result<std::vector<Span>> spans_of(const OpenedRun& run, const std::vector<std::string>& names) {
  std::vector<std::string> steps;
  for (const auto& step : run.loaded.timeline->steps()) steps.push_back(step.name);
  for (const auto& name : names)
    if (std::find(steps.begin(), steps.end(), name) == steps.end())
      return fail(Fault::bad_input, "--steps: found '" + name + "'; allowed: a step of the run: " + one_of(steps) +
                                        "; " + did_you_mean(name, steps));
  std::vector<Span> spans;
  for (const auto& span : run.capture->spans())
    if (span.complete && (names.empty() || std::find(names.begin(), names.end(), span.step) != names.end()))
      spans.push_back(span);
  return spans;
}

// A skew for each step.
Result<std::vector<Finding>> measure(const OpenedRun& run, const Bench& bench, const CalibrateOptions& options) {
  const auto late = same_signal(options.skew[0], bench, *run.loaded.bench);
  if (!late) return tl::unexpected<Error>{late.error()};
  const auto against = same_signal(options.skew[1], bench, *run.loaded.bench);
  if (!against) return tl::unexpected<Error>{against.error()};
  const auto entries = score_entries();
  const auto score =
      std::find_if(entries.begin(), entries.end(), [](const auto& e) { return e.settings.name == "skew"; });
  const auto settings = settings_of(*score, options);
  if (!settings) return tl::unexpected<Error>{settings.error()};
  const auto spans = spans_of(run, options.steps);
  if (!spans) return tl::unexpected<Error>{spans.error()};
  const auto scored = run_score("skew", {*run.capture, *spans, {{"input", *against}, {"output", *late}}, *settings});
  if (!scored) return tl::unexpected<Error>{scored.error()};
  std::vector<Finding> skews;
  std::copy_if(scored->findings.begin(), scored->findings.end(), std::back_inserter(skews),
               [](const Finding& f) { return f.name == "skew.skew"; });
  return skews;
}

double half_width(const Finding& f) { return 0.5 * ((*f.interval)[1] - (*f.interval)[0]); }

// The surest of the steps. Null, with the reason, when no step has a value or they contradict each other.
const Finding* surest(const std::vector<Finding>& skews, std::string& reason) {
  const Finding* best = nullptr;
  for (const auto& f : skews)
    if (f.value && (best == nullptr || half_width(f) < half_width(*best))) best = &f;
  if (best == nullptr) {
    reason = "no step shows a skew; look at the reasons above and at docs/scores/skew.md, \"Which motion\"";
    return nullptr;
  }
  for (const auto& f : skews)
    if (f.value && std::abs(*f.value - *best->value) > half_width(f) + half_width(*best)) {
      reason = "steps '" + best->step + "' and '" + f.step +
               "' contradict each other beyond their uncertainty: what lies between the sensors is not one skew";
      return nullptr;
    }
  return best;
}

// A normal distribution with the finding's interval: the bench file has no place for degrees of freedom, and few cycles
// must not look like many.
double standard_uncertainty(const Finding& f) { return half_width(f) / coverage_factor(INFINITY, f.coverage); }

SkewEntry entry_of(const Finding& f, const CalibrateOptions& options, const RunRecord& record) {
  return {options.skew[0],
          options.skew[1],
          shown(*f.value, 6) + " ms",
          shown(standard_uncertainty(f), 3) + " ms",
          record.started.substr(0, 10),
          "run " + record.id + ", step '" + f.step + "'"};
}

// The bench's files with the entry in that one; only what reads as a bench in which the entry counts.
Result<std::pair<std::string, std::string>> changed_file(const Sources& sources, const std::string& into,
                                                         const SkewEntry& entry, Problems& problems) {
  std::vector<std::string> paths;
  for (const auto& source : sources) paths.push_back(source.first);
  const auto chosen = std::find_if(paths.begin(), paths.end(), [&](const std::string& path) {
    std::error_code unlike;
    return fs::equivalent(path, into, unlike);
  });
  if (chosen == paths.end())
    return fail(Fault::bad_input, "--into: found '" + into + "'; allowed: a file of the bench: " + one_of(paths));
  Loaded changed;
  changed.bench_sources = sources;
  auto& [path, text] = changed.bench_sources[static_cast<std::size_t>(chosen - paths.begin())];
  auto longer = with_skew(text, path, entry);
  if (!longer) return tl::unexpected<Error>{longer.error()};
  text = std::move(*longer);
  parse_sources(changed, problems);
  if (!changed.bench) return fail(Fault::bad_input, "with the entry the bench would not load; nothing was written");
  const auto& counts = changed.bench->signals[*changed.bench->find(entry.signal)].info.skew;
  if (counts.used != entry.used || counts.against != entry.against)
    return fail(Fault::bad_input, "the entry of " + entry.date + " would not count: the bench goes on with " +
                                      (counts.date.empty() ? "none" : "that of " + counts.date) +
                                      "; allowed: the newest, in the file where the bench looks first");
  return std::pair{fs::canonical(path).string(), std::move(text)};
}

// Whole or not at all, with the rights that the file had.
Result<void> replace(const std::string& path, const std::string& text) {
  const auto rights = fs::status(path).permissions();
  if (auto written = write_text(path, text); !written) return written;
  fs::permissions(path, rights);
  return {};
}

}  // namespace

int calibrate_command(const CalibrateOptions& options, Console& console) {
  const auto complain = [&](const Error& error) { return console.complain(error), status_of(error); };
  Loaded loaded;
  if (const auto status = load_or_complain(options.bench, "", {}, console, loaded)) return *status;
  const auto run = open_run(options.run);
  if (!run) return complain(run.error());
  if (const auto fit = fit_to_calibrate(*run); !fit) return complain(fit.error());
  const auto skews = measure(*run, *loaded.bench, options);
  if (!skews) return complain(skews.error());
  console.say(findings_table(*skews, {console.width(), console.colour(), console.unicode()}));
  std::string reason;
  const auto* found = surest(*skews, reason);
  if (found == nullptr) return console.complain("nothing was written: " + reason), inconclusive;

  const auto entry = entry_of(*found, options, run->record);
  Problems problems;
  const auto changed = changed_file(loaded.bench_sources, options.into, entry, problems);
  if (!problems.none()) console.complain(problems);
  if (!changed) return complain(changed.error());
  if (const auto written = replace(changed->first, changed->second); !written) return complain(written.error());
  console.say("'" + entry.signal + "' shows a motion " + entry.value + " later than '" + entry.against +
              "', expanded uncertainty " + shown(half_width(*found), 3) + " ms (" + shown(100.0 * found->coverage, 3) +
              " %); written into " + changed->first);
  console.give(Json{{"signal", entry.signal},
                    {"against", entry.against},
                    {"value", entry.value},
                    {"u", entry.u},
                    {"expanded", shown(half_width(*found), 3) + " ms"},
                    {"coverage", found->coverage},
                    {"date", entry.date},
                    {"used", entry.used},
                    {"file", changed->first}}
                   .dump(2) +
               "\n");
  return all_pass;
}

}  // namespace trackrod
