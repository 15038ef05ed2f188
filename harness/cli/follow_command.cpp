// `trackrod follow`: works out the cycles of a run while its journal grows, until its input ends.

#include <poll.h>
#include <unistd.h>

#include <cstdio>

#include "harness/cli/commands.hpp"
#include "harness/cli/follower.hpp"
#include "harness/cli/open_run.hpp"

namespace trackrod {
namespace {

constexpr int behind_others = 5;  // as the archiver is
constexpr int look_period_ms = 1000;

// Waits a little; true when no more is written.
bool input_ended() {
  pollfd input{STDIN_FILENO, POLLIN, 0};
  if (poll(&input, 1, look_period_ms) <= 0) return false;
  char ignored[64];
  return read(STDIN_FILENO, ignored, sizeof ignored) <= 0;
}

}  // namespace

int follow_command(const FollowOptions& options, Console& console) {
  if (nice(behind_others) == -1)
    console.complain("the process that follows the run keeps its priority: a lower one was refused");
  const auto folder = RunFolder::open(options.run);
  if (!folder) return console.complain(folder.error()), status_of(folder.error());
  const auto record = folder->record();
  if (!record) return console.complain(record.error()), status_of(record.error());
  const auto loaded = loaded_of(*folder, *record);
  if (!loaded) return console.complain(loaded.error()), status_of(loaded.error());
  if (!is_followed(*loaded))
    return console.complain("the plan of '" + options.run +
                            "' has no repeat with 'keep' and no limit that stops one; there is nothing to follow"),
           bad_input;
  auto follower = Follower::create(*loaded, folder->path());
  if (!follower) return console.complain(follower.error()), status_of(follower.error());
  for (bool ended = false; !ended;) {
    ended = input_ended();
    const auto limit = follower->take(ended);
    if (!limit) return console.complain(limit.error()), status_of(limit.error());
    if (!*limit) continue;
    std::printf("%s\n", (*limit)->c_str());
    std::fflush(stdout);
  }
  return all_pass;
}

}  // namespace trackrod
