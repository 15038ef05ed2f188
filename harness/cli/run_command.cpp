#include "harness/cli/commands.hpp"
#include "harness/cli/going_on.hpp"
#include "harness/cli/resume.hpp"
#include "harness/cli/run_plan.hpp"
#include "harness/service/notifier.hpp"

namespace trackrod {
namespace {

// The plan from a later step on. Gives the id of the run before; empty: it begins at the beginning.
Result<std::string> go_on(const RunOptions& options, Loaded& loaded, const Console& console) {
  if (options.after.empty()) {
    if (options.from.empty()) return std::string{};
    return fail(Fault::bad_input, "--from goes on with a run that was cut short; name it with --after RUN");
  }
  const auto going_on = go_on_from(options.after, options.from, loaded);
  if (!going_on) return tl::unexpected<Error>{going_on.error()};
  loaded.from = going_on->step;
  if (auto cut = loaded.timeline->begin_with(loaded.from); !cut)
    return tl::unexpected<Error>{std::move(cut.error()).within("--from")};
  console.say("goes on after run '" + going_on->run + "' with step '" + loaded.from + "'");
  return going_on->run;
}

int resume(const RunOptions& options, const std::string& notify, Console& console) {
  if (!options.files.plan.empty() || !options.files.bench.empty() || !options.files.set.empty() ||
      !options.after.empty())
    return console.complain(
               "--resume takes plan, bench and variables from the run itself; leave out PLAN, --bench, --set and "
               "--after"),
           bad_input;
  auto before = resume_from(options.resume);
  if (!before) return console.complain(before.error()), status_of(before.error());
  console.say(before->sentence);
  tell_notes(before->loaded, console);
  const auto clear =
      clearance(before->loaded, before->loaded, options.runs, options.arming, console, Interrupted{before->ended});
  if (!clear) return console.complain(clear.error()), status_of(clear.error());
  return run_plan(before->loaded, options.runs, {before->run, &*before}, notify, *clear, console);
}

}  // namespace

int run_command(const RunOptions& options, Console& console) {
  const auto notify = options.notify.empty() ? Result<std::string>{} : notify_program(options.notify);
  if (!notify) return console.complain(notify.error()), status_of(notify.error());
  if (!options.resume.empty()) return resume(options, *notify, console);
  if (options.files.plan.empty() || options.files.bench.empty())
    return console.complain(
               "name a plan and a bench: trackrod run PLAN --bench BENCH; or a run that goes on: --resume RUN"),
           bad_input;
  Loaded loaded;
  if (const auto status = load_or_complain(options.files.bench, options.files.plan, options.files.set, console, loaded))
    return *status;
  const auto after = go_on(options, loaded, console);
  if (!after) return console.complain(after.error()), status_of(after.error());
  tell_notes(loaded, console);
  const auto clear = clearance(loaded, loaded, options.runs, options.arming, console);
  if (!clear) return console.complain(clear.error()), status_of(clear.error());
  return run_plan(loaded, options.runs, {*after}, *notify, *clear, console);
}

}  // namespace trackrod
