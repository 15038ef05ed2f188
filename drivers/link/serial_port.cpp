#include "drivers/link/serial_port.hpp"

#include <fcntl.h>
#include <linux/serial.h>
#include <sys/file.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>
#include <termios.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <thread>
#include <utility>

namespace trackrod {
namespace {

using namespace std::chrono_literals;
namespace fs = std::filesystem;

constexpr std::array<std::pair<int, speed_t>, 26> listed_rates{{
    {50, B50},           {75, B75},           {110, B110},         {150, B150},         {300, B300},
    {600, B600},         {1200, B1200},       {1800, B1800},       {2400, B2400},       {4800, B4800},
    {9600, B9600},       {19200, B19200},     {38400, B38400},     {57600, B57600},     {115200, B115200},
    {230400, B230400},   {460800, B460800},   {500000, B500000},   {576000, B576000},   {921600, B921600},
    {1000000, B1000000}, {1500000, B1500000}, {2000000, B2000000}, {2500000, B2500000}, {3000000, B3000000},
    {4000000, B4000000},
}};

// The names under /dev/serial/by-id and the ports behind them.
std::vector<std::pair<std::string, std::string>> named_ports() {
  std::vector<std::pair<std::string, std::string>> all;
  std::error_code none;
  for (const auto& entry : fs::directory_iterator{"/dev/serial/by-id", none})
    all.emplace_back(entry.path().string(), fs::canonical(entry.path(), none).string());
  return all;
}

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
    const auto ports = named_ports();
    for (std::size_t i = 0; i < ports.size(); ++i)
      advice += (i == 0 ? " ports there now: '" : ", '") + ports[i].first + "'";
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

// Sets raw bytes, the frame and the rate. 0 or errno.
int set_up(int fd, const SerialSettings& s) {
  termios t{};
  if (tcgetattr(fd, &t) != 0) return errno;
  cfmakeraw(&t);
  t.c_iflag &= ~static_cast<tcflag_t>(IXOFF | IXANY | INPCK);
  t.c_cflag &= ~static_cast<tcflag_t>(CSTOPB | PARENB | PARODD | CRTSCTS | HUPCL);  // HUPCL would reset many boards
  t.c_cflag |= CS8 | CLOCAL | CREAD;
  if (s.stop_bits == 2) t.c_cflag |= CSTOPB;
  if (s.parity != Parity::none) t.c_cflag |= PARENB;
  if (s.parity == Parity::odd) t.c_cflag |= PARODD;
  // With VMIN 0 an idle port would read as end of file.
  t.c_cc[VMIN] = 1;
  t.c_cc[VTIME] = 0;
  const auto listed =
      std::find_if(listed_rates.begin(), listed_rates.end(), [&](auto& r) { return r.first == s.baud; });
  cfsetspeed(&t, listed != listed_rates.end() ? listed->second : B9600);
  if (tcsetattr(fd, TCSANOW, &t) != 0) return errno;
  if (listed == listed_rates.end() && !set_custom_baud(fd, s.baud)) return errno;
  return 0;
}

// Asks the driver to hand bytes on at once; those that know no such thing (pseudo-terminals, CDC-ACM) say so.
void ask_low_latency(int fd) {
  serial_struct settings{};
  if (ioctl(fd, TIOCGSERIAL, &settings) != 0) return;
  settings.flags |= ASYNC_LOW_LATENCY;
  ioctl(fd, TIOCSSERIAL, &settings);
}

Result<void> prepare(int fd, const SerialSettings& s) {
  const auto where = "serial port '" + s.path + "'";
  if (isatty(fd) == 0)
    return fail(Fault::bad_input,
                where + " is no serial port; give the path of one, such as those in /dev/serial/by-id");
  if (const int error = claim(fd); error != 0) return cannot_open(s.path, error);
  if (const int error = set_up(fd, s); error != 0)
    return fail_os(Fault::refused, where + " does not take '" + s.line() + "'; try another \"baud\"", error);
  // Drivers round the rate to what their clock divides into; a receiver follows about 2 % (common practice, no source).
  if (const int rate = baud_in_use(fd); rate != 0 && std::abs(rate - s.baud) * 50 > s.baud)
    return fail(Fault::refused, where + " runs at " + std::to_string(rate) + " baud where " + std::to_string(s.baud) +
                                    " were asked for; choose a rate that the adapter can make");
  ask_low_latency(fd);
  std::this_thread::sleep_for(s.settle);
  tcflush(fd, TCIOFLUSH);
  return {};
}

}  // namespace

std::string SerialSettings::line() const {
  const char* letter = parity == Parity::none ? "N" : parity == Parity::even ? "E" : "O";
  return std::to_string(baud) + " 8" + letter + std::to_string(stop_bits);
}

Duration SerialSettings::byte_time() const noexcept {
  const int bits = 1 + 8 + (parity == Parity::none ? 0 : 1) + stop_bits;
  return Duration{1'000'000'000LL * bits / baud};
}

const Fields<SerialSettings>& serial_fields() {
  static const auto fields =
      Fields<SerialSettings>{"serial", "A serial port, eight data bits, no flow control."}
          .need("path", &SerialSettings::path, text(),
                "device file; take the one in /dev/serial/by-id, the others change their number")
          .may("baud", &SerialSettings::baud, integer<int>(50, 4000000), "bits a second (115200 when not given)")
          .may("parity", &SerialSettings::parity,
               choice<Parity>({{"none", Parity::none}, {"even", Parity::even}, {"odd", Parity::odd}}), "parity bit")
          .may("stop_bits", &SerialSettings::stop_bits, integer<int>(1, 2), "stop bits")
          .may("settle", &SerialSettings::settle, duration(0s, 10s),
               "wait after opening, for boards that restart then; what they say meanwhile is dropped");
  return fields;
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
    std::string better = "the path in /dev/serial/by-id or by-path";
    for (const auto& [name, port] : named_ports())
      if (port == settings.path) better = "'" + name + "'";
    add("its number may change when it is plugged in again; write " + better);
  }
  termios t{};
  if (tcgetattr(fd, &t) == 0 && ((t.c_cflag & PARENB) != 0) != (settings.parity != Parity::none))
    add("it did not take the parity");
  if (const auto held = adapter_latency(fd); held > 1ms)
    add("the adapter holds bytes back for up to " + std::to_string(held / 1ms) + " ms; its stamps are widened by that");
  return remark;
}

}  // namespace trackrod
