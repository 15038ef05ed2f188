#pragma once
// What all devices said of themselves at one time, in a room of fixed size that the loop fills for its keeper.

#include <array>
#include <atomic>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

#include "harness/engine/device.hpp"

namespace trackrod {

// When, in a run.
enum class Occasion : std::uint8_t { before, after, end };  // of all steps; end: as it was when the loop ended

struct AccountRoom {
  std::atomic<std::size_t> size{0};  // of the text; 0: none was written
  std::array<char, 65536> text{};    // lines; what is in them only the two functions below know
};

// Loop-safe. What finds no room is left out, whole lines at a time.
void write_accounts(std::span<Device* const> devices, AccountRoom& room) noexcept;

struct DeviceAccount {
  std::vector<std::pair<std::string, std::string>> identity;  // name, text
  std::optional<std::vector<FaultEntry>> faults;              // no value: there is no fault memory, or it was not read
};
using Accounts = std::vector<DeviceAccount>;  // in the bench's order
// No value where none were written.
std::optional<Accounts> read_accounts(const AccountRoom& room, std::size_t devices);

}  // namespace trackrod
