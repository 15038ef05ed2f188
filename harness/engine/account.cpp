#include "harness/engine/account.hpp"

#include <algorithm>
#include <charconv>
#include <sstream>

namespace trackrod {
namespace {

// Lines: device, kind, and what belongs to it, with tabs between. A text of a device holds no control character.
constexpr char of_identity = 'i', of_memory = 'm', of_fault = 'f';

class RoomWriter final : public AccountSink {
 public:
  explicit RoomWriter(AccountRoom& room) : room_{room} { put("\n"); }
  void turn_to(std::size_t device) { device_ = device; }
  void identity(std::string_view name, std::string_view text) noexcept override { line(of_identity, {name, text}); }
  void fault_memory() noexcept override { line(of_memory, {}); }
  void fault(FaultEntry entry) noexcept override {
    line(of_fault, {Digits{entry.code, 16}.view(), Digits{entry.status, 16}.view()});
  }
  void finish() noexcept { room_.size.store(size_, std::memory_order_release); }

 private:
  struct Digits {
    Digits(std::size_t number, int base)
        : size{static_cast<std::size_t>(std::to_chars(text.data(), text.data() + text.size(), number, base).ptr -
                                        text.data())} {}
    std::string_view view() const { return {text.data(), size}; }
    std::array<char, 24> text{};
    std::size_t size;
  };
  void line(char kind, std::initializer_list<std::string_view> parts) noexcept {
    const auto before = size_;
    bool whole = put(Digits{device_, 10}.view()) && put("\t") && put({&kind, 1});
    for (const auto part : parts) whole = whole && put("\t") && put(part);
    if (!whole || !put("\n")) size_ = before;
  }
  bool put(std::string_view text) noexcept {
    if (size_ + text.size() > room_.text.size()) return false;
    std::copy(text.begin(), text.end(), room_.text.begin() + static_cast<std::ptrdiff_t>(size_));
    size_ += text.size();
    return true;
  }

  AccountRoom& room_;
  std::size_t size_{0}, device_{0};
};

std::uint32_t number(const std::string& text, int base) {
  std::uint32_t n = 0;
  std::from_chars(text.data(), text.data() + text.size(), n, base);
  return n;
}

}  // namespace

void write_accounts(std::span<Device* const> devices, AccountRoom& room) noexcept {
  RoomWriter writer{room};
  for (std::size_t d = 0; d < devices.size(); ++d) {
    writer.turn_to(d);
    devices[d]->tell(writer);
  }
  writer.finish();
}

std::optional<Accounts> read_accounts(const AccountRoom& room, std::size_t devices) {
  const auto size = room.size.load(std::memory_order_acquire);
  if (size == 0) return std::nullopt;
  Accounts accounts(devices);
  std::istringstream lines{std::string{room.text.data(), size}};
  for (std::string line; std::getline(lines, line);) {
    std::vector<std::string> parts;
    std::istringstream words{line};
    for (std::string part; std::getline(words, part, '\t');) parts.push_back(part);
    const auto device = parts.size() < 2 ? devices : number(parts[0], 10);
    if (device >= devices) continue;
    auto& account = accounts[device];
    if (parts[1][0] == of_identity && parts.size() == 4) account.identity.emplace_back(parts[2], parts[3]);
    if (parts[1][0] == of_memory) account.faults.emplace();
    if (parts[1][0] == of_fault && parts.size() == 4 && account.faults)
      account.faults->push_back({number(parts[2], 16), static_cast<std::uint8_t>(number(parts[3], 16))});
  }
  return accounts;
}

}  // namespace trackrod
