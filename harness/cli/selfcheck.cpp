#include "harness/cli/selfcheck.hpp"

#include <fcntl.h>
#include <net/if.h>
#include <net/if_arp.h>
#include <poll.h>
#include <sys/utsname.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <functional>

#include "drivers/link/pty_link.hpp"
#include "drivers/link/serial_link.hpp"
#include "drivers/link/udp_link.hpp"

namespace trackrod {
namespace {

constexpr Duration tick = std::chrono::milliseconds{1};
constexpr int echoes = 1000, disk_writes = 20;
constexpr std::size_t disk_bytes = 65536;

std::string first_line(const std::string& path) {
  std::ifstream file{path};
  std::string line;
  std::getline(file, line);
  return line;
}

// A loop that does nothing but be on time.
void measure_ticks(Duration how_long, SelfcheckFacts& facts) {
  SteadyTime time;
  facts.grant = become_realtime(loop_priority);
  std::vector<Duration> late;
  late.reserve(static_cast<std::size_t>(how_long / tick) + 1);
  const auto start = time.now() + tick;
  for (std::int64_t n = 0; n * tick < how_long;) {
    const auto due = start + n * tick;
    time.sleep_until(due);
    const auto now = time.now();
    late.push_back(now - due);
    const auto next = std::max<std::int64_t>(n + 1, (now - start) / tick);
    facts.ticks_missed += static_cast<std::uint64_t>(next - n - 1);
    n = next;
  }
  leave_realtime();
  facts.tick_late = quantiles(std::move(late));
}

// From handing over at one end to having it at the other, one message at a time.
Quantiles measure_link(Link& from, Link& to) {
  SteadyTime time;
  std::array<std::byte, 64> message{};
  std::array<std::byte, 2048> buffer{};
  std::vector<Duration> took;
  for (int i = 0; i < echoes; ++i) {
    const auto sent = time.now();
    if (from.send(message, sent).state != SendState::sent) continue;
    pollfd waiting{to.descriptor(), POLLIN, 0};
    if (poll(&waiting, 1, 100) != 1) continue;
    if (to.receive(buffer, time.now()).state == Received::State::bytes) took.push_back(time.now() - sent);
    while (to.receive(buffer, time.now()).state == Received::State::bytes) {
    }
  }
  return quantiles(std::move(took));
}

Result<Quantiles> measure_udp() {
  constexpr std::uint32_t loopback = 0x7F000001;
  UdpSettings near, far;
  near.local = far.local = {loopback, 0};
  near.peer = {loopback, 1};  // any, until the far end is there
  Endpoint here;
  {
    const auto first = UdpLink::open(near);
    if (!first) return tl::unexpected<Error>{first.error()};
    here = (*first)->local();
  }
  far.peer = near.local = here;
  auto far_end = UdpLink::open(far);
  if (!far_end) return tl::unexpected<Error>{far_end.error()};
  near.peer = (*far_end)->local();
  auto near_end = UdpLink::open(near);
  if (!near_end) return tl::unexpected<Error>{near_end.error()};
  return measure_link(**near_end, **far_end);
}

Result<Quantiles> measure_serial() {
  const auto folder = std::filesystem::temp_directory_path();
  SerialSettings settings;
  settings.path = (folder / ("trackrod-selfcheck-" + std::to_string(getpid()))).string();
  auto far_end = PtyLink::open(settings.path);
  if (!far_end) return tl::unexpected<Error>{far_end.error()};
  auto near_end = SerialLink::open(settings);
  if (!near_end) return tl::unexpected<Error>{near_end.error()};
  return measure_link(**near_end, **far_end);
}

Result<Quantiles> measure_disk() {
  const std::string name = ".trackrod-selfcheck-" + std::to_string(getpid());
  const int file = open(name.c_str(), O_CREAT | O_EXCL | O_WRONLY | O_CLOEXEC, 0600);
  if (file < 0) return fail_os(Fault::storage, "the working folder cannot be written", errno);
  SteadyTime time;
  const std::vector<char> block(disk_bytes, 'x');
  std::vector<Duration> took;
  int error = 0;
  for (int i = 0; i < disk_writes && error == 0; ++i) {
    const auto begun = time.now();
    if (write(file, block.data(), block.size()) != static_cast<ssize_t>(block.size()) || fdatasync(file) != 0)
      error = errno;
    took.push_back(time.now() - begun);
  }
  close(file);
  unlink(name.c_str());
  if (error != 0) return fail_os(Fault::storage, "the working folder cannot be written", error);
  return quantiles(std::move(took));
}

std::vector<std::string> can_interfaces() {
  std::vector<std::string> found;
  std::error_code ignored;
  for (const auto& entry : std::filesystem::directory_iterator{"/sys/class/net", ignored}) {
    const auto path = entry.path().string();
    if (first_line(path + "/type") == std::to_string(ARPHRD_CAN))
      found.push_back(entry.path().filename().string() + " (" + first_line(path + "/operstate") + ")");
  }
  std::sort(found.begin(), found.end());
  return found;
}

void take(std::optional<Quantiles>& into, const char* what, const Result<Quantiles>& measured, SelfcheckFacts& facts) {
  if (measured && measured->count > 0)
    into = *measured;
  else
    facts.troubles.push_back(std::string{what} + ": " + (measured ? "nothing came back" : measured.error().context));
}

}  // namespace

Quantiles quantiles(std::vector<Duration> values) {
  if (values.empty()) return {};
  std::sort(values.begin(), values.end());
  const auto at = [&](double p) {
    return values[static_cast<std::size_t>(p * static_cast<double>(values.size() - 1))];
  };
  return {values.size(), at(0.5), at(0.99), values.back()};
}

SelfcheckFacts measure_timing(Duration how_long) {
  SelfcheckFacts facts;
  utsname name{};
  uname(&name);
  facts.kernel = std::string{name.sysname} + " " + name.release + " " + name.version;
  facts.realtime_kernel = first_line("/sys/kernel/realtime") == "1";
  facts.clock_source = first_line("/sys/devices/system/clocksource/clocksource0/current_clocksource");
  facts.cores = static_cast<int>(sysconf(_SC_NPROCESSORS_ONLN));
  facts.receive_buffer_max = std::atol(first_line("/proc/sys/net/core/rmem_max").c_str());
  take(facts.udp, "udp", measure_udp(), facts);
  take(facts.serial, "serial", measure_serial(), facts);
  measure_ticks(how_long, facts);  // last: it changes what this process may do
  return facts;
}

SelfcheckFacts measure_host(Duration how_long) {
  auto facts = measure_timing(how_long);
  take(facts.disk, "disk", measure_disk(), facts);
  facts.can_interfaces = can_interfaces();
  return facts;
}

std::vector<std::string> advice(const SelfcheckFacts& facts) {
  using std::chrono::milliseconds;
  std::vector<std::string> lines;
  const auto say_if = [&](bool amiss, const char* words) {
    if (amiss) lines.emplace_back(words);
  };
  say_if(!facts.grant.fifo,
         "no real-time priority: give the bench's users an rtprio limit of 50 or more "
         "(/etc/security/limits.d), then log in anew");
  say_if(!facts.grant.locked,
         "memory is not locked: raise the memlock limit to 512 MB or more, or page faults make ticks late");
  say_if(facts.tick_late.p99 > tick / 10 || facts.tick_late.most > tick,
         "ticks come late: end other programs, switch deep sleep states and frequency scaling off, or use a machine of "
         "its own; every finding of a latency carries the lateness");
  say_if(!facts.realtime_kernel,
         "the kernel is no real-time one: fine for most plans; for 4 kHz, or where one late tick spoils a night, "
         "install one");
  say_if(facts.cores < 2, "one processor core: loop, reader and recorder share it");
  say_if(facts.clock_source != "tsc" && facts.clock_source != "kvm-clock" && facts.clock_source != "arch_sys_counter",
         "reading the clock goes through a slow source: see the kernel's messages on why it left the processor's own "
         "counter");
  say_if(facts.receive_buffer_max < 4'000'000,
         "small receive buffers: set net.core.rmem_max to 8388608, or a stall of some hundred milliseconds loses "
         "datagrams");
  say_if(facts.disk && facts.disk->most > milliseconds{500},
         "the disk is slow to sync: the journal syncs once a second; use a local disk, no network or removable one");
  return lines;
}

}  // namespace trackrod
