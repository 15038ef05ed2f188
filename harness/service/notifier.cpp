#include "harness/service/notifier.hpp"

#include <fcntl.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <condition_variable>
#include <csignal>
#include <cstring>
#include <filesystem>
#include <mutex>
#include <string_view>
#include <thread>
#include <vector>

extern char** environ;

namespace trackrod {
namespace {

using namespace std::chrono_literals;

constexpr auto look_period = 20ms;
constexpr Duration killed_limit = 1s;  // for a killed program to be gone

// The environment without what the service manager told this process alone.
std::vector<char*> environment() {
  std::vector<char*> kept;
  for (char** entry = environ; *entry != nullptr; ++entry) {
    const std::string_view text{*entry};
    if (text.rfind("NOTIFY_SOCKET=", 0) != 0 && text.rfind("WATCHDOG_", 0) != 0) kept.push_back(*entry);
  }
  kept.push_back(nullptr);
  return kept;
}

// 0 or errno.
int start(const std::string& program, const Notice& notice, pid_t& pid) {
  std::vector<std::string> words{program, notice_name(notice.kind), notice.run, notice.sentence, notice.verdicts};
  std::vector<char*> argv;
  for (auto& word : words) argv.push_back(word.data());
  argv.push_back(nullptr);
  posix_spawn_file_actions_t actions;
  posix_spawn_file_actions_init(&actions);
  posix_spawn_file_actions_addopen(&actions, STDIN_FILENO, "/dev/null", O_RDONLY, 0);
  posix_spawn_file_actions_addopen(&actions, STDOUT_FILENO, "/dev/null", O_WRONLY, 0);
  posix_spawn_file_actions_addclosefrom_np(&actions, STDERR_FILENO + 1);
  posix_spawnattr_t attributes;
  posix_spawnattr_init(&attributes);
  sigset_t none, all;
  sigemptyset(&none);
  sigfillset(&all);
  posix_spawnattr_setsigmask(&attributes, &none);
  posix_spawnattr_setsigdefault(&attributes, &all);  // the keeper ignores some
  posix_spawnattr_setpgroup(&attributes, 0);
  posix_spawnattr_setflags(&attributes, POSIX_SPAWN_SETPGROUP | POSIX_SPAWN_SETSIGMASK | POSIX_SPAWN_SETSIGDEF);
  const int error = posix_spawn(&pid, program.c_str(), &actions, &attributes, argv.data(), environment().data());
  posix_spawnattr_destroy(&attributes);
  posix_spawn_file_actions_destroy(&actions);
  return error;
}

}  // namespace

std::string notice_name(Notice::Kind kind) {
  switch (kind) {
    case Notice::Kind::ended:
      return "ended";
    case Notice::Kind::tripped:
      return "tripped";
    case Notice::Kind::low_disk:
      return "low_disk";
  }
  return "?";
}

Result<std::string> notify_program(const std::string& program) {
  const auto refused = [&](const std::string& why) {
    return fail(Fault::bad_input, "--notify: '" + program + "' cannot be started (" + why +
                                      "); give the path of a program that may be executed. Nothing was moved");
  };
  std::error_code error;
  const auto path = std::filesystem::absolute(program, error);
  if (error || !std::filesystem::exists(path, error)) return refused("there is no such file");
  if (!std::filesystem::is_regular_file(path, error)) return refused("it is no file");
  if (access(path.c_str(), X_OK) != 0) return refused(std::strerror(errno));
  return path.string();
}

// Starts what is asked for and looks after it until it ends.
class Notifier::Worker {
 public:
  Worker(std::string program, std::function<void(const std::string&)> on_trouble, Duration limit)
      : program_{std::move(program)}, on_trouble_{std::move(on_trouble)}, limit_{limit}, thread_{[this] { work(); }} {}
  ~Worker() {
    {
      const std::lock_guard lock{mutex_};
      ending_ = true;
    }
    changed_.notify_all();
    thread_.join();
  }
  Worker(const Worker&) = delete;
  Worker& operator=(const Worker&) = delete;

  void take(Notice notice) {
    {
      const std::lock_guard lock{mutex_};
      waiting_.push_back(std::move(notice));
    }
    changed_.notify_all();
  }

 private:
  struct Started {
    pid_t pid;
    std::string what;
    BenchTime until;
    bool killed;
  };

  void work() {
    std::unique_lock lock{mutex_};
    while (!(ending_ && waiting_.empty() && started_.empty())) {
      const auto fresh = std::exchange(waiting_, {});
      lock.unlock();
      for (const auto& notice : fresh) begin(notice);
      started_.erase(std::remove_if(started_.begin(), started_.end(), [this](Started& s) { return over(s); }),
                     started_.end());
      lock.lock();
      const auto woken = [this] { return !waiting_.empty() || (ending_ && started_.empty()); };
      if (started_.empty())
        changed_.wait(lock, woken);
      else
        changed_.wait_for(lock, look_period, woken);
    }
  }
  void begin(const Notice& notice) {
    Started s{-1, notice_name(notice.kind), time_.now() + limit_, false};
    if (const int error = start(program_, notice, s.pid); error != 0)
      return trouble(s, std::string{"could not be started: "} + std::strerror(error));
    started_.push_back(s);
  }
  // True once it needs no looking after.
  bool over(Started& s) {
    int status = 0;
    if (waitpid(s.pid, &status, WNOHANG) == s.pid) {
      if (!s.killed && WIFSIGNALED(status)) trouble(s, std::string{"died: "} + strsignal(WTERMSIG(status)));
      if (WIFEXITED(status) && WEXITSTATUS(status) != 0)
        trouble(s, "ended with status " + std::to_string(WEXITSTATUS(status)));
      return true;
    }
    if (time_.now() < s.until) return false;
    if (s.killed) return trouble(s, "does not even end when killed"), true;
    trouble(s, "took longer than " + std::to_string(limit_ / 1s) + " s and was killed");
    kill(-s.pid, SIGKILL);
    s.killed = true;
    s.until = time_.now() + killed_limit;
    return false;
  }
  void trouble(const Started& s, const std::string& what) const {
    on_trouble_("nobody may have been told of '" + s.what + "': " + program_ + " " + what);
  }

  const std::string program_;
  const std::function<void(const std::string&)> on_trouble_;
  const Duration limit_;
  const SteadyTime time_;
  std::vector<Started> started_;  // the thread's own
  std::mutex mutex_;              // of what follows
  std::condition_variable changed_;
  std::vector<Notice> waiting_;
  bool ending_{false};
  std::thread thread_;
};

Notifier::Notifier(std::string program, std::function<void(const std::string&)> on_trouble, Duration limit)
    : worker_{program.empty() ? nullptr : std::make_unique<Worker>(std::move(program), std::move(on_trouble), limit)} {}

Notifier::~Notifier() = default;

void Notifier::notify(Notice notice) {
  if (worker_) worker_->take(std::move(notice));
}

}  // namespace trackrod
