// The loop's process: takes over the descriptors that the keeper opened, and runs the engine on them.

#include <pthread.h>
#include <unistd.h>

#include <csignal>
#include <cstdio>
#include <cstring>
#include <thread>

#include "drivers/device/device_inputs.hpp"
#include "drivers/device/device_set.hpp"
#include "harness/cli/commands.hpp"
#include "harness/cli/job.hpp"
#include "harness/engine/loop.hpp"
#include "harness/engine/realtime.hpp"
#include "harness/engine/shared_state.hpp"

namespace trackrod {
namespace {

// Sets `gone` when the keeper's end of the socket closes, that is, when the keeper is dead.
void watch_keeper(int socket, std::atomic<bool>& gone) {
  char byte;
  ssize_t n = 0;
  do n = read(socket, &byte, 1);
  while (n > 0 || (n < 0 && errno == EINTR));
  gone.store(true);
}

}  // namespace

int loop_command(const LoopOptions& options) {
  std::signal(SIGINT, SIG_IGN);  // the keeper decides
  auto job = read_job(options.job);
  auto shared = SharedMapping::attach(options.shared);
  if (!job || !shared) {
    std::fprintf(stderr, "trackrod loop: %s\n", (!job ? job.error() : shared.error()).context.c_str());
    return harness_failed;
  }
  auto set = adopt_devices(*job->bench, options.links);
  static std::atomic<bool> gone{false};  // outlives the watching thread, which ends with the process
  std::thread{[socket = options.keeper] { watch_keeper(socket, gone); }}.detach();

  SteadyTime time;
  SharedRecords records{**shared};
  SharedMinder minder{**shared, gone};
  Reader reader{set.link_pointers()};
  DeviceInputs inputs{reader, set.device_pointers(), DeviceInputs::Reading::by_thread};
  Engine engine{{*job->bench, *job->plan, *job->timeline, set.device_pointers(), inputs, time, records, minder}};

  const auto grant = become_realtime(loop_priority);
  const auto reading = reader.start(loop_priority - 1);
  if (!reading) {
    std::fprintf(stderr, "trackrod loop: %s\n", reading.error().context.c_str());
    return harness_failed;
  }
  std::strncpy((*shared)->grant, grant.words.c_str(), sizeof(SharedState::grant) - 1);
  run_loop(engine, job->bench->tick, time);
  reader.stop();
  minder.take_accounts(Occasion::end, set.device_pointers());
  (*shared)->outcome = engine.outcome();
  (*shared)->over.store(true, std::memory_order_release);
  return all_pass;
}

}  // namespace trackrod
