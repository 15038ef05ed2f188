#pragma once
// What a run tells beyond its terminal and its folder: the service manager that started it, and the person's own
// notification command.

#include <spdlog/logger.h>

#include "harness/capture/record.hpp"
#include "harness/cli/console.hpp"
#include "harness/cli/run_folder.hpp"
#include "harness/service/notifier.hpp"
#include "harness/service/supervisor.hpp"

namespace trackrod {

class RunNews {
 public:
  // `program`: the notification command as notify_program gave it, or empty. Make it before the process takes real-time
  // rights. The others outlive it; what goes wrong with the command is logged and said.
  RunNews(const std::string& program, const RunFolder& folder, const std::shared_ptr<spdlog::logger>& log,
          const Console& console);

  // For the watch over the loop, at each look; does not block.
  void look(BenchTime beat, bool stopping) noexcept { supervisor_.look(beat, stopping); }
  // With each event, after it was written, and what the run is doing in words.
  void on_event(const Event& event, const std::string& doing);
  // The disk runs full. Returns at once; any thread but those of the loop.
  void low_disk(const std::string& sentence) { tell(Notice::Kind::low_disk, sentence, {}); }
  // The loop is over.
  void finishing() noexcept { supervisor_.finishing(); }
  // All is written. `verdicts`: "3 pass, 1 fail", empty when nothing was scored.
  void ended(const std::string& how, const std::string& verdicts);

 private:
  void tell(Notice::Kind kind, const std::string& sentence, const std::string& verdicts);

  const std::string run_;
  Supervisor supervisor_;  // goes on while the last command is waited for
  Notifier notifier_;
};

}  // namespace trackrod
