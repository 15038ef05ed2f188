#include "drivers/link/pty_link.hpp"

#include <fcntl.h>
#include <poll.h>
#include <stdlib.h>  // NOLINT(modernize-deprecated-headers): POSIX's pseudo-terminals
#include <termios.h>
#include <unistd.h>

#include <cerrno>
#include <filesystem>
#include <utility>

namespace trackrod {
namespace {

namespace fs = std::filesystem;

// Raw from the start: a terminal that echoes would talk back to the stand-in before the port is opened.
bool make_raw(int fd) {
  termios t{};
  if (tcgetattr(fd, &t) != 0) return false;
  cfmakeraw(&t);
  return tcsetattr(fd, TCSANOW, &t) == 0;
}

bool hung_up(int fd) {
  pollfd p{fd, 0, 0};
  return poll(&p, 1, 0) == 1 && (p.revents & POLLHUP) != 0;
}

}  // namespace

Result<std::unique_ptr<PtyLink>> PtyLink::open(const std::string& path) {
  const int master = posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
  if (master < 0) return fail_os(Fault::internal, "no pseudo-terminal could be made", errno);
  char name[64];
  if (grantpt(master) != 0 || unlockpt(master) != 0 || ptsname_r(master, name, sizeof name) != 0 || !make_raw(master)) {
    const int error = errno;
    close(master);
    return fail_os(Fault::internal, "no pseudo-terminal could be made", error);
  }
  std::error_code problem;
  if (fs::is_symlink(fs::symlink_status(path, problem))) fs::remove(path, problem);
  fs::create_symlink(name, path, problem);
  if (problem) {
    close(master);
    return fail_os(problem == std::errc::file_exists ? Fault::refused : Fault::storage,
                   "'" + path +
                       "' cannot stand for a serial port; give a path in a folder that can be written, where "
                       "nothing is yet",
                   problem.value());
  }
  return std::unique_ptr<PtyLink>{new PtyLink{path, name, master}};
}

PtyLink::PtyLink(std::string path, std::string terminal, int master)
    : path_{std::move(path)}, terminal_{std::move(terminal)}, master_{master} {}

PtyLink::~PtyLink() {
  std::error_code gone;
  if (fs::read_symlink(path_, gone) == terminal_) fs::remove(path_, gone);
  close(master_);
}

Received PtyLink::receive(std::span<std::byte> into, BenchTime now) noexcept {
  const auto got = reads_.receive(master_, into, now, Duration{}, counters_);
  if (got.state != Received::State::lost) return got;
  // EIO, or an end: nobody has the terminal open.
  if (got.error != EIO && got.error != 0) return got;
  reads_.found_empty(now);
  return {};
}

SendResult PtyLink::send(std::span<const std::byte> bytes, BenchTime) noexcept {
  if (hung_up(master_)) return {SendState::sent, bytes.size(), 0};
  ssize_t size = 0;
  do size = write(master_, bytes.data(), bytes.size());
  while (size < 0 && errno == EINTR);
  if (size < 0 && errno != EAGAIN) {
    ++counters_.send_failures;
    return {SendState::lost, 0, errno};
  }
  const auto taken = size < 0 ? std::size_t{0} : static_cast<std::size_t>(size);
  counters_.sent_bytes += taken;
  if (taken < bytes.size()) return {SendState::would_block, taken, 0};
  ++counters_.sent;
  return {SendState::sent, taken, 0};
}

void PtyLink::drop_queued_output() noexcept { tcflush(master_, TCOFLUSH); }

}  // namespace trackrod
