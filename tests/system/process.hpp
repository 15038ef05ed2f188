#pragma once
// Runs programs for system tests: with their output in files, bounded in time, ended by id.

#include <fcntl.h>
#include <spawn.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <csignal>
#include <fstream>
#include <sstream>
#include <string>
#include <thread>
#include <vector>

extern char** environ;

namespace trackrod::test {

inline std::string slurp(const std::string& path) {
  std::ifstream in{path, std::ios::binary};
  std::ostringstream text;
  text << in.rdbuf();
  return text.str();
}

// Polls `done` until it is true or `limit` is over; the result tells which.
template <class F>
bool eventually(F&& done, std::chrono::milliseconds limit) {
  const auto end = std::chrono::steady_clock::now() + limit;
  while (!done()) {
    if (std::chrono::steady_clock::now() > end) return false;
    std::this_thread::sleep_for(std::chrono::milliseconds{10});
  }
  return true;
}

class Process {
 public:
  // Output goes to `log`.out and `log`.err.
  Process(std::vector<std::string> command, std::string log) : log_{std::move(log)} {
    posix_spawn_file_actions_t actions;
    posix_spawn_file_actions_init(&actions);
    posix_spawn_file_actions_addopen(&actions, 0, "/dev/null", O_RDONLY, 0);
    posix_spawn_file_actions_addopen(&actions, 1, (log_ + ".out").c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0600);
    posix_spawn_file_actions_addopen(&actions, 2, (log_ + ".err").c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0600);
    std::vector<char*> argv;
    for (auto& word : command) argv.push_back(word.data());
    argv.push_back(nullptr);
    if (posix_spawnp(&pid_, argv[0], &actions, nullptr, argv.data(), environ) != 0) pid_ = -1;
    posix_spawn_file_actions_destroy(&actions);
  }
  Process(const Process&) = delete;
  Process& operator=(const Process&) = delete;
  ~Process() {
    if (!running()) return;
    kill(pid_, SIGTERM);
    if (eventually([&] { return !running(); }, std::chrono::seconds{5})) return;
    kill(pid_, SIGKILL);
    waitpid(pid_, nullptr, 0);
  }

  pid_t pid() const { return pid_; }
  std::string out() const { return slurp(log_ + ".out"); }
  std::string err() const { return slurp(log_ + ".err"); }
  void signal(int number) const { kill(pid_, number); }
  bool running() {
    if (pid_ <= 0 || ended_) return false;
    note_memory();
    rusage usage{};
    if (wait4(pid_, &status_, WNOHANG, &usage) != pid_) return true;
    const auto in_seconds = [](const timeval& t) {
      return static_cast<double>(t.tv_sec) + 1e-6 * static_cast<double>(t.tv_usec);
    };
    processor_seconds_ = in_seconds(usage.ru_utime) + in_seconds(usage.ru_stime);
    ended_ = true;
    return false;
  }
  // The most that was seen while running() or wait() looked, without the process' children, in kilobytes.
  long most_memory() const { return most_memory_; }
  // Of all processors together, once it has ended.
  double processor_seconds() const { return processor_seconds_; }
  // The exit status; 128 + signal when a signal ended it; -1 when it still runs after `limit`.
  int wait(std::chrono::milliseconds limit) {
    if (!eventually([&] { return !running(); }, limit)) return -1;
    return WIFEXITED(status_) ? WEXITSTATUS(status_) : 128 + WTERMSIG(status_);
  }

 private:
  void note_memory() {
    std::istringstream status{slurp("/proc/" + std::to_string(pid_) + "/status")};
    for (std::string line; std::getline(status, line);)
      if (line.rfind("VmHWM:", 0) == 0) most_memory_ = std::max(most_memory_, std::stol(line.substr(6)));
  }

  std::string log_;
  pid_t pid_{-1};
  int status_{0};
  long most_memory_{0};
  double processor_seconds_{0.0};
  bool ended_{false};
};

// The one child of `parent` whose command line contains `word`; -1 when there is none.
inline pid_t child_with(pid_t parent, const std::string& word) {
  std::istringstream children{
      slurp("/proc/" + std::to_string(parent) + "/task/" + std::to_string(parent) + "/children")};
  for (pid_t pid = -1; children >> pid;) {
    auto line = slurp("/proc/" + std::to_string(pid) + "/cmdline");
    for (auto& c : line)
      if (c == '\0') c = ' ';
    if (line.find(word) != std::string::npos) return pid;
  }
  return -1;
}

}  // namespace trackrod::test
