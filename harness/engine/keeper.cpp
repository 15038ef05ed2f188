#include "harness/engine/keeper.hpp"

#include <fcntl.h>
#include <spawn.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

#include <boost/asio/io_context.hpp>
#include <boost/asio/signal_set.hpp>
#include <boost/asio/steady_timer.hpp>
#include <cerrno>
#include <csignal>
#include <utility>  // before Asio: Boost 1.74 misses it in C++20

extern char** environ;

namespace trackrod {
namespace {

using namespace std::chrono_literals;

constexpr Duration look_period = 2ms;
constexpr Duration start_limit = 10s;  // for the loop's first tick

// posix_spawn's attributes, freed at the end.
struct SpawnSetup {
  posix_spawn_file_actions_t actions;
  posix_spawnattr_t attributes;
  SpawnSetup() {
    posix_spawn_file_actions_init(&actions);
    posix_spawnattr_init(&attributes);
  }
  SpawnSetup(const SpawnSetup&) = delete;
  SpawnSetup& operator=(const SpawnSetup&) = delete;
  ~SpawnSetup() {
    posix_spawn_file_actions_destroy(&actions);
    posix_spawnattr_destroy(&attributes);
  }
};

void kill_and_reap(pid_t pid) {
  kill(pid, SIGKILL);
  while (waitpid(pid, nullptr, 0) < 0 && errno == EINTR) {
  }
}

}  // namespace

Result<LoopProcess> start_loop(const std::string& program, std::vector<std::string> args,
                               std::span<const int> inherit) {
  int pair[2];
  if (socketpair(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0, pair) != 0)
    return fail_os(Fault::internal, "no socket between keeper and loop", errno);
  args.insert(args.begin(), program);
  args.insert(args.end(), {"--keeper", std::to_string(pair[1])});
  std::vector<char*> argv;
  for (auto& a : args) argv.push_back(a.data());
  argv.push_back(nullptr);

  SpawnSetup setup;
  // A descriptor duplicated onto itself loses its close-on-exec mark in the child.
  posix_spawn_file_actions_adddup2(&setup.actions, pair[1], pair[1]);
  for (const int fd : inherit) posix_spawn_file_actions_adddup2(&setup.actions, fd, fd);
  // A process group of its own: Ctrl-C at the terminal reaches the keeper alone, which ends the run in good order.
  posix_spawnattr_setflags(&setup.attributes, POSIX_SPAWN_SETPGROUP);
  posix_spawnattr_setpgroup(&setup.attributes, 0);
  LoopProcess loop;
  const int error = posix_spawn(&loop.pid, program.c_str(), &setup.actions, &setup.attributes, argv.data(), environ);
  close(pair[1]);
  if (error != 0) {
    close(pair[0]);
    return fail_os(Fault::internal, "the loop's process cannot be started from '" + program + "'", error);
  }
  loop.socket = pair[0];
  return loop;
}

namespace {

// Looks at the loop every few milliseconds, at each signal of a child's end, and at each request to stop.
class Watch {
 public:
  Watch(const LoopProcess& loop, SharedState& shared, const TimeSource& time, const std::atomic<std::uint32_t>& stop,
        Hangup hangup, const OnLook& on_look)
      : loop_{loop}, shared_{shared}, time_{time}, stop_{stop}, on_look_{on_look}, begun_{time.now()} {
    if (hangup == Hangup::stops)
      signals_.add(SIGHUP);
    else
      std::signal(SIGHUP, SIG_IGN);
  }

  LoopEnd until_end() {
    signals_.add(SIGCHLD);
    await_signal();
    await_look();
    io_.run();
    return end_;
  }

 private:
  void await_signal() {
    signals_.async_wait([this](boost::system::error_code error, int signal) {
      if (error) return;
      if (signal != SIGCHLD) ask_stop(signal == SIGINT ? StopCause::operator_stop : StopCause::signal);
      if (look()) return io_.stop();
      await_signal();
    });
  }
  void await_look() {
    timer_.expires_after(look_period);
    timer_.async_wait([this](boost::system::error_code error) {
      if (error) return;
      if (look()) return io_.stop();
      await_look();
    });
  }
  void ask_stop(StopCause cause) { shared_.stop.store(static_cast<std::uint32_t>(cause) + 1); }

  // True once the loop is gone.
  bool look() {
    if (const auto cause = stop_.load(); cause != 0) shared_.stop.store(cause);
    int status = 0;
    if (waitpid(loop_.pid, &status, WNOHANG) == loop_.pid) {
      end_.status = WIFEXITED(status) ? WEXITSTATUS(status) : 0;
      end_.signal = WIFSIGNALED(status) ? WTERMSIG(status) : 0;
      end_.died = !shared_.over.load(std::memory_order_acquire);
      return true;
    }
    const BenchTime beat{Duration{shared_.beat_ns.load(std::memory_order_acquire)}};
    const bool ticking = beat != BenchTime{};
    on_look_(beat, shared_.stop.load() != 0);
    if (time_.now() - (ticking ? beat : begun_) <= (ticking ? heartbeat_limit : start_limit)) return false;
    kill_and_reap(loop_.pid);  // before anything is sent: two senders would confuse the devices
    end_.died = end_.hung = !shared_.over.load(std::memory_order_acquire);
    end_.signal = SIGKILL;
    return true;
  }

  const LoopProcess& loop_;
  SharedState& shared_;
  const TimeSource& time_;
  const std::atomic<std::uint32_t>& stop_;
  const OnLook& on_look_;
  BenchTime begun_;
  LoopEnd end_;
  boost::asio::io_context io_;
  boost::asio::signal_set signals_{io_, SIGINT, SIGTERM};
  boost::asio::steady_timer timer_{io_};
};

}  // namespace

LoopEnd mind_loop(const LoopProcess& loop, const TakeOverParts& parts, SharedState& shared,
                  const std::atomic<std::uint32_t>& stop, Hangup hangup, const OnLook& on_look) {
  auto end = Watch{loop, shared, parts.time, stop, hangup, on_look}.until_end();
  close(loop.socket);
  end.started = shared.beat_ns.load() != 0;
  if (!end.died) {
    end.outcome = shared.outcome;
    return end;
  }
  end.outcome.tripped = true;
  if (!end.started) return end;
  end.outcome.safe_reached = take_over(parts, shared.testaments[shared.testament.load(std::memory_order_acquire)]);
  parts.records.put(Event{parts.time.now(), 0.0, static_cast<std::uint32_t>(end.signal != 0 ? end.signal : end.status),
                          end.hung ? 1U : 0U, EventKind::loop_died});
  return end;
}

}  // namespace trackrod
