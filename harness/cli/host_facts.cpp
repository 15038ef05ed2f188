#include "harness/cli/host_facts.hpp"

#include <sys/utsname.h>
#include <unistd.h>

#include "harness/base/text_file.hpp"
#include "harness/cli/run_folder.hpp"
#include "harness/cli/selfcheck.hpp"
#include "harness/report/text.hpp"

namespace trackrod {
namespace {

constexpr Duration of_ticks = std::chrono::milliseconds{200};

std::string words(const std::optional<Quantiles>& q) {
  if (!q) return "not measured";
  const auto us = [](Duration d) { return shown(1e6 * seconds(d), 3); };
  return us(q->p50) + " us half of the time, " + us(q->p99) + " us 99 of 100, " + us(q->most) + " us at worst";
}

}  // namespace

HostFacts program_and_machine() {
  utsname name{};
  uname(&name);
  const auto program = read_text("/proc/self/exe");
  return {{"build", program ? "sha256:" + sha256(*program) : "not known: " + program.error().context},
          {"kernel", std::string{name.sysname} + " " + name.release},
          {"cores", std::to_string(sysconf(_SC_NPROCESSORS_ONLN))}};
}

HostFacts timing_floor() {
  const auto facts = measure_timing(of_ticks);
  return {{"real-time kernel", facts.realtime_kernel ? "yes" : "no"},
          {"clock source", facts.clock_source},
          {"floor: tick of 1 kHz, late by", words(facts.tick_late)},
          {"floor: udp, handed over to taken", words(facts.udp)},
          {"floor: serial (pty), handed over to taken", words(facts.serial)}};
}

}  // namespace trackrod
