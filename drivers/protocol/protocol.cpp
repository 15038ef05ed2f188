#include "drivers/protocol/protocol.hpp"

namespace trackrod {

std::string Protocol::identity() const {
  std::string all;
  for (std::size_t i = 0; i < identity_items(); ++i) {
    const auto [name, text] = identity_item(i);
    if (!text.empty()) all.append(all.empty() ? "" : "\n").append(name).append(": ").append(text);
  }
  return all;
}

}  // namespace trackrod
