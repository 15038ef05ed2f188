#include "drivers/link/serial_port.hpp"

#include <fcntl.h>
#include <sys/file.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>
#include <termios.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <thread>

namespace trackrod {
namespace {

using namespace std::chrono_literals;
namespace fs = std::filesystem;

std::string holder_advice(const std::string& path) {
  return "another program holds it ('fuser -v " + path +
         "' names it; ModemManager and brltty take fresh ports): end it, " + "then try again";
}

tl::unexpected<Error> cannot_open(const std::string& path, int error) {
  const auto what = "serial port '" + path + "' cannot be opened";
  std::string advice;
  auto fault = Fault::refused;
  if (error == ENOENT || error == ENXIO || error == ENODEV || error == EIO) {
    fault = Fault::link_lost;
    advice = "is the cable in and the device powered?";
    const auto ports = lasting_names();
    for (std::size_t i = 0; i < ports.size(); ++i) advice += (i == 0 ? " ports there now: '" : ", '") + ports[i] + "'";
    if (ports.empty()) advice += " /dev/serial/by-id lists no adapter now";
  } else if (error == EACCES || error == EPERM) {
    advice =
        "this user may not open it: join the group that owns it ('sudo usermod -aG dialout $USER', then log in anew)";
  } else if (error == EBUSY || error == EWOULDBLOCK) {
    advice = holder_advice(path);
  } else {
    advice = "see 'dmesg' for what the driver says";
  }
  auto failed = fail_os(fault, what, error);
  failed.value().context += "; " + advice;
  return failed;
}

// Device numbers of pseudo-terminals (the kernel's admin-guide/devices.txt).
bool is_pseudo_terminal(int fd) {
  struct stat s {};
  return fstat(fd, &s) == 0 && major(s.st_rdev) >= 136 && major(s.st_rdev) <= 143;
}

// One user at a time. Programs that lock a port do it with flock(); TIOCEXCL keeps out those that do not, except root.
// On a pseudo-terminal TIOCEXCL would outlive a user that was killed, for as long as the other end is held.
int claim(int fd) {
  if (flock(fd, LOCK_EX | LOCK_NB) != 0) return errno;
  int exclusive = 0;
  if (ioctl(fd, TIOCGEXCL, &exclusive) == 0 && exclusive != 0) return EBUSY;
  return is_pseudo_terminal(fd) || ioctl(fd, TIOCEXCL) == 0 ? 0 : errno;
}

// What is left to ask of the line once its frame is set.
Result<void> set_up_bus_and_lines(int fd, const SerialSettings& s) {
  if (s.rs485)
    if (const int error = set_rs485(fd, *s.rs485); error != 0)
      return fail_os(
          Fault::refused,
          "serial port '" + s.path +
              "' does not do RS-485 as asked for; where the adapter switches its sender by itself leave "
              "\"rs485\" out, else try another level or delays of 0, or take an adapter whose driver does it",
          error);
  if (s.low_latency.value_or(true)) ask_low_latency(fd);
  if (s.dtr == LineLevel::off) drop_dtr(fd);
  return {};
}

Result<void> prepare(int fd, const SerialSettings& s) {
  const auto where = "serial port '" + s.path + "'";
  if (isatty(fd) == 0)
    return fail(Fault::bad_input,
                where + " is no serial port; give the path of one, such as those in /dev/serial/by-id");
  if (const int error = claim(fd); error != 0) return cannot_open(s.path, error);
  if (const int error = set_up_line(fd, s); error != 0)
    return fail_os(Fault::refused, where + " does not take '" + s.line() + "'; try another \"baud\" or frame", error);
  // Drivers round the rate to what their clock divides into; a receiver follows about 2 % (common practice, no source).
  if (const int rate = baud_in_use(fd); rate != 0 && std::abs(rate - s.baud) * 50 > s.baud)
    return fail(Fault::refused, where + " runs at " + std::to_string(rate) + " baud where " + std::to_string(s.baud) +
                                    " were asked for; choose a rate that the adapter can make");
  if (auto set = set_up_bus_and_lines(fd, s); !set) return set;
  std::this_thread::sleep_for(s.settle);
  tcflush(fd, TCIOFLUSH);
  return {};
}

}  // namespace

std::vector<std::string> lasting_names(const std::string& path, const std::string& folder) {
  std::vector<std::string> names;
  std::error_code none;
  const auto port = fs::canonical(path, none);
  for (const auto& entry : fs::directory_iterator{folder, none})
    if (path.empty() || (!port.empty() && fs::canonical(entry.path(), none) == port))
      names.push_back(entry.path().string());
  std::sort(names.begin(), names.end());
  return names;
}

Result<int> open_serial_port(const SerialSettings& settings) {
  const int fd = open(settings.path.c_str(), O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
  if (fd < 0) return cannot_open(settings.path, errno);
  auto ready = prepare(fd, settings);
  if (ready) return fd;
  close(fd);
  return tl::unexpected<Error>{std::move(ready.error())};
}

void close_serial_port(int fd) noexcept {
  // A real port may hold close() for half a minute while output waits for a device that is off.
  for (int waits = 0, waiting = 0; waits < 20 && ioctl(fd, TIOCOUTQ, &waiting) == 0 && waiting > 0; ++waits)
    std::this_thread::sleep_for(10ms);
  tcflush(fd, TCOFLUSH);
  ioctl(fd, TIOCNXCL);
  close(fd);
}

Duration adapter_latency(int fd) {
  struct stat s {};
  if (fstat(fd, &s) != 0) return {};
  std::ifstream file{"/sys/dev/char/" + std::to_string(major(s.st_rdev)) + ":" + std::to_string(minor(s.st_rdev)) +
                     "/device/latency_timer"};
  int ms = 0;
  return file >> ms ? Duration{std::chrono::milliseconds{ms}} : Duration{};
}

std::string serial_remark(const SerialSettings& settings, int fd) {
  std::string remark;
  const auto add = [&](const std::string& sentence) {
    remark += (remark.empty() ? "serial port '" + settings.path + "': " : "; ") + sentence;
  };
  if (settings.path.starts_with("/dev/ttyUSB") || settings.path.starts_with("/dev/ttyACM")) {
    auto better = lasting_names(settings.path);
    if (better.empty()) better = lasting_names(settings.path, "/dev/serial/by-path");
    add("its number may change when it is plugged in again; write " +
        (better.empty() ? "the path in /dev/serial/by-id or by-path" : "'" + better.front() + "'"));
  }
  termios t{};
  if (tcgetattr(fd, &t) == 0) {
    if (((t.c_cflag & PARENB) != 0) != (settings.parity != Parity::none)) add("it did not take the parity");
    if (((t.c_cflag & CSIZE) == CS8) != (settings.data_bits == 8)) add("it did not take the number of data bits");
  }
  int lines = 0;
  if (settings.dtr == LineLevel::off && (ioctl(fd, TIOCMGET, &lines) != 0 || (lines & TIOCM_DTR) != 0))
    add("its DTR line is not off");
  if (settings.low_latency.value_or(false) && !has_low_latency(fd)) add("its driver knows no low latency");
  if (const auto held = adapter_latency(fd); held > 1ms)
    add("the adapter holds bytes back for up to " + std::to_string(held / 1ms) + " ms; its stamps are widened by that");
  return remark;
}

}  // namespace trackrod
