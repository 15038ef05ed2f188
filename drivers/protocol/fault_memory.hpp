#pragma once
// What is known of a unit's fault memory from reading it now and then.

#include <cstdint>
#include <span>
#include <vector>

#include "harness/base/time.hpp"

namespace trackrod {

// An entry that was not there at the reading before.
struct NewFault {
  std::uint32_t code{0};  // three bytes
  std::uint8_t status{0};
  Window window;  // when it came about: after the last reading without it, by the first one with it
};

class FaultMemory {
 public:
  static constexpr std::size_t room = 1023;  // entries: as many as the longest message of 4095 bytes holds

  FaultMemory();

  // One reading. `records`: four bytes an entry, code and status. Those without a bit of `counts` are left out. The
  // memory was looked at after `asked`, and by `answered` at the latest.
  void read(std::span<const std::byte> records, std::uint8_t counts, BenchTime asked, BenchTime answered) noexcept;
  // It was cleared: from `asked` on everything in it is new.
  void cleared(BenchTime asked) noexcept;

  std::size_t count() const noexcept { return now_.size(); }
  bool holds(std::uint32_t code) const noexcept;
  // Entries that came with the last reading, oldest code first.
  std::span<const NewFault> fresh() const noexcept { return fresh_; }

 private:
  struct Entry {
    std::uint32_t code{0};
    std::uint8_t status{0};
  };
  std::vector<Entry> now_, before_;  // sorted by code
  std::vector<NewFault> fresh_;
  BenchTime last_asked_{};  // of the last reading or clearing; zero before the first
};

}  // namespace trackrod
