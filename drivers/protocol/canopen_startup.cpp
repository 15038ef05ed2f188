#include "drivers/protocol/canopen_startup.hpp"

#include <algorithm>
#include <cstdio>

#include "drivers/protocol/canopen_messages.hpp"

namespace trackrod {
namespace {

using namespace std::chrono_literals;

// CiA 301, objects of the communication profile.
constexpr std::uint16_t device_type_object = 0x1000, name_object = 0x1008, software_object = 0x100A,
                        consumer_heartbeat_object = 0x1016, producer_heartbeat_object = 0x1017,
                        identity_object = 0x1018;
// Communication and mapping parameters of the first PDO.
constexpr std::uint16_t taken_parameter = 0x1400, taken_mapping = 0x1600, sent_parameter = 0x1800,
                        sent_mapping = 0x1A00;
constexpr ObjectAddress control_word{0x6040, 0};

std::optional<std::uint32_t> word(const std::optional<std::int64_t>& value) {
  if (!value) return {};
  return static_cast<std::uint32_t>(*value);
}

std::uint32_t milliseconds(Duration d) { return static_cast<std::uint32_t>(d / 1ms); }

}  // namespace

CanopenStartup::CanopenStartup(const CanopenSettings& s)
    : wanted_identity_{word(s.identity.vendor), word(s.identity.product), word(s.identity.revision),
                       word(s.identity.serial)},
      wanted_name_{s.identity.name.value_or("")},
      is_drive_{s.is_drive()} {
  if (s.profile) profile_ = static_cast<std::uint32_t>(*s.profile);
  if (s.heartbeat) heartbeat_ms_ = milliseconds(s.heartbeat->every.value);
  // Node number in bits 16 to 23, milliseconds below.
  if (s.own_heartbeat)
    watched_heartbeat_ =
        static_cast<std::uint32_t>(s.own_heartbeat->node.value) << 16 | milliseconds(s.own_heartbeat->lost_after.value);
}

void CanopenStartup::begin(Extent extent) noexcept {
  extent_ = extent;
  refused_ = false;
  to_device_ = false;
  pdo_ = 0;
  number_ = 1;
  maps_ = {};
  step_ = extent == Extent::all ? Step::device_type : Step::pdo_identifier;
}

bool CanopenStartup::is_needed(Step step) const noexcept {
  switch (step) {
    case Step::disable:
      return is_drive_;
    case Step::heartbeat:
      return heartbeat_ms_.has_value();
    case Step::watched_heartbeat:
      return watched_heartbeat_.has_value();
    default:
      return true;
  }
}

std::optional<SdoTransfer> CanopenStartup::next() const noexcept {
  const auto pdo = static_cast<std::uint16_t>(pdo_);
  const auto parameter = static_cast<std::uint16_t>((to_device_ ? taken_parameter : sent_parameter) + pdo);
  const auto mapping = static_cast<std::uint16_t>((to_device_ ? taken_mapping : sent_mapping) + pdo);
  const auto sub = static_cast<std::uint8_t>(number_);
  if (refused_) return {};
  switch (step_) {
    case Step::device_type:
      return SdoTransfer{{device_type_object, 0}};
    case Step::identity:
      return SdoTransfer{{identity_object, sub}};
    case Step::name:
      return SdoTransfer{{name_object, 0}};
    case Step::software:
      return SdoTransfer{{software_object, 0}};
    case Step::disable:
      return SdoTransfer{control_word, true, 2, 0};
    case Step::heartbeat:
      return SdoTransfer{{producer_heartbeat_object, 0}, true, 2, *heartbeat_ms_};
    case Step::watched_heartbeat:
      return SdoTransfer{{consumer_heartbeat_object, 1}, true, 4, *watched_heartbeat_};
    case Step::pdo_identifier:
      return SdoTransfer{{parameter, 1}};
    case Step::pdo_count:
      return SdoTransfer{{mapping, 0}};
    case Step::pdo_entry:
      return SdoTransfer{{mapping, sub}};
    case Step::held:
      return SdoTransfer{maps_.to_device[pdo_].objects()[number_].object};
    case Step::done:
      break;
  }
  return {};
}

std::uint32_t CanopenStartup::was_read(std::span<const std::byte> bytes) noexcept {
  const auto value = static_cast<std::uint32_t>(read_little(bytes));
  switch (step_) {
    case Step::device_type:
      told_[2].take_number(value);
      if (is_wrong(value & 0xFFFF)) return refuse();
      break;
    case Step::identity:
      told_[2 + number_].take_number(value);
      if (is_wrong(value)) return refuse();
      break;
    case Step::name:
      told_[0].take(bytes);
      if (told_[0].view().find(wanted_name_) == std::string_view::npos) return refuse();
      break;
    case Step::software:
      told_[1].take(bytes);
      break;
    case Step::pdo_identifier:
      map().begin(value);
      if (!map().is_valid()) return next_pdo(), 0;
      break;
    case Step::pdo_count:
      // More than 64 are no number of objects: FEh and FFh mean multiplexed PDOs.
      entries_ = value & 0xFF;
      if (entries_ == 0 || entries_ > PdoMap::most_bits) return next_pdo(), 0;
      number_ = 0;
      break;
    case Step::pdo_entry:
      if (!map().add(value)) entries_ = number_;  // what is behind a broken entry stands nowhere
      break;
    case Step::held:
      maps_.to_device[pdo_].objects()[number_].place.write(maps_.held[pdo_], read_little(bytes));
      break;
    default:
      break;
  }
  advance();
  return 0;
}

std::uint32_t CanopenStartup::was_aborted(std::uint32_t code) noexcept {
  const auto object = next() ? next()->object : ObjectAddress{};
  switch (step_) {
    case Step::device_type:
      if (profile_) return refuse();
      break;
    case Step::identity:
      if (wanted_identity_[number_ - 1]) return refuse();
      break;
    case Step::name:
      if (!wanted_name_.empty()) return refuse();
      break;
    case Step::pdo_identifier:
    case Step::pdo_count:
    case Step::pdo_entry:
      next_pdo();  // a PDO that the device does not have
      return 0;
    case Step::disable:
    case Step::heartbeat:
    case Step::watched_heartbeat:
      advance();
      return canopen_abort_message(code, object);
    default:
      break;  // optional objects
  }
  advance();
  return 0;
}

void CanopenStartup::advance() noexcept {
  switch (step_) {
    case Step::identity:
      if (++number_ <= wanted_identity_.size()) return;
      break;
    case Step::pdo_entry:
      if (++number_ <= entries_) return;
      next_pdo();
      return;
    case Step::held:
      ++number_;
      next_held();
      return;
    default:
      break;
  }
  next_step();
}

void CanopenStartup::next_step() noexcept {
  do {
    step_ = static_cast<Step>(static_cast<unsigned>(step_) + 1);
  } while (!is_needed(step_));
  number_ = 1;
}

void CanopenStartup::next_pdo() noexcept {
  step_ = Step::pdo_identifier;
  if (++pdo_ < most_pdos) return;
  pdo_ = 0;
  if (!to_device_) {
    to_device_ = true;
    return;
  }
  step_ = Step::held;
  number_ = 0;
  if (extent_ == Extent::only_maps)
    step_ = Step::done;  // what is sent now stays
  else
    next_held();
}

// From the object `number_` of the PDO `pdo_` on to one that can be asked for.
void CanopenStartup::next_held() noexcept {
  for (; pdo_ < most_pdos; ++pdo_, number_ = 0) {
    const auto& m = maps_.to_device[pdo_];
    if (!m.is_valid()) continue;
    while (number_ < m.objects().size() && m.objects()[number_].is_gap()) ++number_;
    if (number_ < m.objects().size()) return;
  }
  step_ = Step::done;
}

PdoMap& CanopenStartup::map() noexcept { return (to_device_ ? maps_.to_device : maps_.from_device)[pdo_]; }

bool CanopenStartup::is_wrong(std::uint32_t value) const noexcept {
  const auto& wanted = step_ == Step::device_type ? profile_ : wanted_identity_[number_ - 1];
  return wanted && *wanted != value;
}

std::uint32_t CanopenStartup::refuse() noexcept {
  const auto object = next()->object;
  refused_ = true;
  return canopen_message(CanopenMessage::identity_differs, object);
}

void CanopenStartup::Text::take(std::span<const std::byte> bytes) noexcept {
  size = 0;
  for (const auto b : bytes) {
    const auto c = std::to_integer<unsigned char>(b);
    if (c == 0 || size == characters.size()) break;
    characters[size++] = c >= ' ' && c < 0x7F ? static_cast<char>(c) : '?';
  }
}

void CanopenStartup::Text::take_number(std::uint32_t number) noexcept {
  size = static_cast<std::size_t>(std::snprintf(characters.data(), characters.size(), "%08Xh", number));
}

}  // namespace trackrod
