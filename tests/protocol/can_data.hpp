#pragma once
// CAN frames as tests write them down.

#include <ostream>
#include <vector>

#include "tests/protocol/wire.hpp"

namespace trackrod::testing {

struct CanData {
  unsigned id{0};
  std::vector<unsigned> data;
  bool operator==(const CanData&) const = default;
};

inline std::ostream& operator<<(std::ostream& out, const CanData& f) {
  out << std::hex << f.id << " [";
  for (const auto b : f.data) out << ' ' << b;
  return out << " ]" << std::dec;
}

inline Bytes data_bytes(const CanData& f) {
  Bytes b;
  for (const auto v : f.data) b.push_back(static_cast<std::byte>(v));
  return b;
}

inline CanData can_data(unsigned id, std::span<const std::byte> data) {
  CanData f{id, {}};
  for (const auto b : data) f.data.push_back(std::to_integer<unsigned>(b));
  return f;
}

// The byte form of a CAN frame, by its description in can_frame.hpp.
inline Bytes datagram(const CanData& f) {
  Bytes b;
  for (int shift = 24; shift >= 0; shift -= 8) b.push_back(static_cast<std::byte>(f.id >> shift));
  b.push_back(std::byte{0});
  for (const auto v : f.data) b.push_back(static_cast<std::byte>(v));
  return b;
}

inline CanData can_data(std::span<const std::byte> b) {
  REQUIRE(b.size() >= 5);
  unsigned id = 0;
  for (std::size_t i = 0; i < 4; ++i) id = id << 8 | std::to_integer<unsigned>(b[i]);
  return can_data(id, b.subspan(5));
}

}  // namespace trackrod::testing
