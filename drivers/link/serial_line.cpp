// What is asked of a port's driver: frame, rate, lines.

#include <linux/serial.h>
#include <sys/ioctl.h>
#include <termios.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <utility>

#include "drivers/link/serial_port.hpp"

namespace trackrod {
namespace {

constexpr std::array<std::pair<int, speed_t>, 26> listed_rates{{
    {50, B50},           {75, B75},           {110, B110},         {150, B150},         {300, B300},
    {600, B600},         {1200, B1200},       {1800, B1800},       {2400, B2400},       {4800, B4800},
    {9600, B9600},       {19200, B19200},     {38400, B38400},     {57600, B57600},     {115200, B115200},
    {230400, B230400},   {460800, B460800},   {500000, B500000},   {576000, B576000},   {921600, B921600},
    {1000000, B1000000}, {1500000, B1500000}, {2000000, B2000000}, {2500000, B2500000}, {3000000, B3000000},
    {4000000, B4000000},
}};

constexpr std::array<tcflag_t, 4> sizes{CS5, CS6, CS7, CS8};

}  // namespace

int set_up_line(int fd, const SerialSettings& s) {
  termios t{};
  if (tcgetattr(fd, &t) != 0) return errno;
  cfmakeraw(&t);
  t.c_iflag &= ~static_cast<tcflag_t>(IXOFF | IXANY | INPCK);
  t.c_cflag &= ~static_cast<tcflag_t>(CSIZE | CSTOPB | PARENB | PARODD | CRTSCTS | HUPCL);
  t.c_cflag |= sizes[static_cast<std::size_t>(s.data_bits - 5)] | CLOCAL | CREAD;
  if (s.hang_up) t.c_cflag |= HUPCL;
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

int set_rs485(int fd, const Rs485Settings& s) {
  using std::chrono::milliseconds;
  serial_rs485 wanted{};
  wanted.flags =
      SER_RS485_ENABLED | (s.rts_while_sending == LineLevel::on ? SER_RS485_RTS_ON_SEND : SER_RS485_RTS_AFTER_SEND);
  wanted.delay_rts_before_send = static_cast<std::uint32_t>(s.before / milliseconds{1});
  wanted.delay_rts_after_send = static_cast<std::uint32_t>(s.after / milliseconds{1});
  auto taken = wanted;
  if (ioctl(fd, TIOCSRS485, &taken) != 0) return errno;
  // Drivers take what they can and report that: a level or a delay they cannot do is left out in silence.
  constexpr std::uint32_t compared = SER_RS485_ENABLED | SER_RS485_RTS_ON_SEND | SER_RS485_RTS_AFTER_SEND;
  if (ioctl(fd, TIOCGRS485, &taken) != 0) return errno;
  const bool same = (taken.flags & compared) == wanted.flags &&
                    taken.delay_rts_before_send == wanted.delay_rts_before_send &&
                    taken.delay_rts_after_send == wanted.delay_rts_after_send;
  return same ? 0 : EOPNOTSUPP;
}

bool ask_low_latency(int fd) {
  serial_struct settings{};
  if (ioctl(fd, TIOCGSERIAL, &settings) != 0) return false;
  settings.flags |= ASYNC_LOW_LATENCY;
  return ioctl(fd, TIOCSSERIAL, &settings) == 0;
}

bool has_low_latency(int fd) {
  serial_struct settings{};
  return ioctl(fd, TIOCGSERIAL, &settings) == 0 && (settings.flags & ASYNC_LOW_LATENCY) != 0;
}

bool drop_dtr(int fd) {
  const int dtr = TIOCM_DTR;
  return ioctl(fd, TIOCMBIC, &dtr) == 0;
}

}  // namespace trackrod
