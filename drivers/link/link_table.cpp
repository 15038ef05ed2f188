#include <cstdio>
#include <cstdlib>

#include "drivers/link/can_link.hpp"
#include "drivers/link/isotp_link.hpp"
#include "drivers/link/link.hpp"
#include "drivers/link/serial_link.hpp"
#include "drivers/link/tcp_link.hpp"
#include "drivers/link/udp_link.hpp"

namespace trackrod {

const std::vector<LinkKind>& link_table() {
  static const std::vector<LinkKind> table{udp_kind(), serial_kind(), tcp_kind(), can_kind(), isotp_kind()};
  return table;
}

const LinkKind& link_kind(const std::string& kind) {
  for (const auto& line : link_table())
    if (line.entry.name == kind) return line;
  std::fprintf(stderr, "trackrod: no link is called '%s'\n", kind.c_str());
  std::abort();
}

}  // namespace trackrod
