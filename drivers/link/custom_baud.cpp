// Alone in this file: the kernel's <asm/termbits.h> and the C library's <termios.h> define the same names.
#include <asm/ioctls.h>
#include <asm/termbits.h>
#include <sys/ioctl.h>

namespace trackrod {

bool set_custom_baud(int descriptor, int baud) noexcept {
  termios2 t{};
  if (ioctl(descriptor, TCGETS2, &t) != 0) return false;
  t.c_cflag &= ~static_cast<tcflag_t>(CBAUD | (CBAUD << IBSHIFT));
  t.c_cflag |= BOTHER | (BOTHER << IBSHIFT);
  t.c_ispeed = t.c_ospeed = static_cast<speed_t>(baud);
  return ioctl(descriptor, TCSETS2, &t) == 0;
}

int baud_in_use(int descriptor) noexcept {
  termios2 t{};
  return ioctl(descriptor, TCGETS2, &t) == 0 ? static_cast<int>(t.c_ospeed) : 0;
}

}  // namespace trackrod
