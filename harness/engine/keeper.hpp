#pragma once
// The keeper: starts the loop as a process of its own, watches it, and brings the bench to its safe state when the loop
// dies or hangs. It holds every descriptor open, so that nothing has to be opened again in that moment.

#include <sys/types.h>

#include <atomic>
#include <functional>
#include <span>
#include <string>
#include <vector>

#include "harness/engine/take_over.hpp"

namespace trackrod {

struct LoopProcess {
  pid_t pid{-1};
  int socket{-1};  // our end of a pair; its end of file tells the loop that we are gone
};

// Runs `program args... --keeper FD` in a process group of its own, with just the descriptors of `inherit` (same
// numbers) and FD open beside the standard ones. May block. Error kind internal.
Result<LoopProcess> start_loop(const std::string& program, std::vector<std::string> args, std::span<const int> inherit);

struct LoopEnd {
  bool died{false};    // without finishing: crashed, killed or hung
  bool hung{false};    // its heartbeat stopped, so it was killed
  bool started{true};  // false: it ended before its first tick; nothing was driven
  int signal{0};       // that ended it, when it died
  int status{0};       // exit status, when it ended by itself
  Outcome outcome;     // of the run; after a death: tripped, with what the keeper reached
};

// Whether the run ends when the terminal that it was started from is closed (SIGHUP).
enum class Hangup : std::uint8_t { stops, ignored };

// What the watch sees at each of its looks: the loop's last heartbeat (zero: none yet), and whether it was asked to
// stop. Called on the watch's thread; must not block.
using OnLook = std::function<void(BenchTime beat, bool stopping)>;

// Watches until the loop has ended and the bench is safe. Takes the stop signals of the process (SIGINT, SIGTERM, and
// SIGHUP as told) meanwhile and passes them on as a request to end in good order; `stop` (0 or StopCause + 1) does the
// same from another thread. Blocks; call on a thread that nothing else delays.
LoopEnd mind_loop(const LoopProcess& loop, const TakeOverParts& parts, SharedState& shared,
                  const std::atomic<std::uint32_t>& stop, Hangup hangup, const OnLook& on_look);

// A heartbeat older than this means that the loop hangs. Longer than the holes that a busy machine tears.
inline constexpr Duration heartbeat_limit = std::chrono::milliseconds{250};

}  // namespace trackrod
