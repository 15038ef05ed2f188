#include "drivers/protocol/fault_memory.hpp"

#include <algorithm>
#include <utility>

namespace trackrod {

FaultMemory::FaultMemory() {
  now_.reserve(room);
  before_.reserve(room);
  fresh_.reserve(room);
}

void FaultMemory::read(std::span<const std::byte> records, std::uint8_t counts, BenchTime asked,
                       BenchTime answered) noexcept {
  const auto byte = [&](std::size_t at) { return std::to_integer<std::uint32_t>(records[at]); };
  std::swap(now_, before_);
  now_.clear();
  fresh_.clear();
  for (std::size_t at = 0; at + 4 <= records.size() && now_.size() < room; at += 4) {
    const auto status = static_cast<std::uint8_t>(byte(at + 3));
    if ((status & counts) != 0) now_.push_back({byte(at) << 16 | byte(at + 1) << 8 | byte(at + 2), status});
  }
  const auto by_code = [](const Entry& a, const Entry& b) { return a.code < b.code; };
  std::sort(now_.begin(), now_.end(), by_code);
  now_.erase(std::unique(now_.begin(), now_.end(), [](const Entry& a, const Entry& b) { return a.code == b.code; }),
             now_.end());
  for (const auto& entry : now_)
    if (!std::binary_search(before_.begin(), before_.end(), entry, by_code))
      fresh_.push_back({entry.code, entry.status, {last_asked_, answered}});
  last_asked_ = asked;
}

void FaultMemory::cleared(BenchTime asked) noexcept {
  now_.clear();
  fresh_.clear();
  last_asked_ = asked;
}

bool FaultMemory::holds(std::uint32_t code) const noexcept {
  return std::any_of(now_.begin(), now_.end(), [&](const Entry& e) { return e.code == code; });
}

}  // namespace trackrod
