#include "harness/cli/following.hpp"

#include <fcntl.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <utility>

extern char** environ;

namespace trackrod {
namespace {

struct Pipe {
  std::array<int, 2> ends{-1, -1};
  Pipe() {
    if (pipe2(ends.data(), O_CLOEXEC) != 0) ends = {-1, -1};
  }
  bool valid() const { return ends[0] >= 0; }
};

// Its input is the pipe whose end of file ends it, its output the sentences. Nothing of the bench is passed on, and
// Ctrl-C at the terminal is for the keeper alone.
Result<pid_t> spawn(std::string folder, int input, int output) {
  posix_spawn_file_actions_t actions;
  posix_spawnattr_t attributes;
  posix_spawn_file_actions_init(&actions);
  posix_spawnattr_init(&attributes);
  posix_spawn_file_actions_adddup2(&actions, input, STDIN_FILENO);
  posix_spawn_file_actions_adddup2(&actions, output, STDOUT_FILENO);
  posix_spawn_file_actions_addclosefrom_np(&actions, STDERR_FILENO + 1);
  posix_spawnattr_setflags(&attributes, POSIX_SPAWN_SETPGROUP);
  std::string program = "/proc/self/exe", command = "follow";
  char* argv[] = {program.data(), command.data(), folder.data(), nullptr};
  pid_t pid = -1;
  const int error = posix_spawn(&pid, program.c_str(), &actions, &attributes, argv, environ);
  posix_spawn_file_actions_destroy(&actions);
  posix_spawnattr_destroy(&attributes);
  if (error != 0) return fail_os(Fault::internal, "the process that follows the run cannot be started", error);
  return pid;
}

void read_lines(int output, const std::function<void(const std::string&)>& on_line) {
  std::string line;
  for (char c = 0;;) {
    const auto n = read(output, &c, 1);
    if (n < 0 && errno == EINTR) continue;
    if (n <= 0) break;
    if (c != '\n') {
      line += c;
      continue;
    }
    on_line(line);
    line.clear();
  }
  close(output);
}

bool ended_well(pid_t pid) {
  int status = 0;
  while (waitpid(pid, &status, 0) < 0 && errno == EINTR) {
  }
  return WIFEXITED(status) && WEXITSTATUS(status) == 0;
}

}  // namespace

Result<Following> Following::start(const std::string& folder, std::function<void(const std::string&)> on_limit) {
  const Pipe in, out;
  if (!in.valid() || !out.valid())
    return fail_os(Fault::internal, "no pipe to the process that follows the run", errno);
  const auto pid = spawn(folder, in.ends[0], out.ends[1]);
  close(in.ends[0]);
  close(out.ends[1]);
  if (!pid) {
    close(in.ends[1]);
    close(out.ends[0]);
    return tl::unexpected<Error>{pid.error()};
  }
  return Following{folder, *pid, in.ends[1], std::thread{[output = out.ends[0], on_limit = std::move(on_limit)] {
                     read_lines(output, on_limit);
                   }}};
}

Following::Following(std::string folder, pid_t pid, int input, std::thread reader)
    : folder_{std::move(folder)}, pid_{pid}, input_{input}, reader_{std::move(reader)} {}

Following::Following(Following&& other) noexcept
    : folder_{std::move(other.folder_)},
      pid_{std::exchange(other.pid_, -1)},
      input_{std::exchange(other.input_, -1)},
      reader_{std::move(other.reader_)} {}

Following::~Following() { (void)end(); }

bool Following::end() {
  if (pid_ < 0) return true;
  close(input_);
  const bool good = ended_well(std::exchange(pid_, -1));
  reader_.join();
  return good;
}

Result<void> Following::finish() {
  if (end()) return {};
  auto again = start(folder_, [](const std::string&) {});
  if (!again) return tl::unexpected<Error>{again.error()};
  if (again->end()) return {};
  return fail(
      Fault::storage,
      "the cycles were not all worked out; the journal holds them still. Try again with: trackrod follow " + folder_);
}

}  // namespace trackrod
