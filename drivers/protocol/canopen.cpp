// The values of a CANopen device, and what another process needs to go on. What is sent: canopen_sending.cpp; what
// arrives: canopen_arrivals.cpp.

#include "drivers/protocol/canopen.hpp"

#include <algorithm>
#include <cmath>

namespace trackrod {
namespace {

using namespace std::chrono_literals;

// CiA 402.
constexpr ObjectAddress control_word{0x6040, 0}, status_word{0x6041, 0}, mode_of_operation{0x6060, 0},
    mode_shown{0x6061, 0};
constexpr Duration drive_asked_every = 10ms;  // where no PDO brings status word and mode

template <class T>
T object_of(const CanopenValue& value) {
  T object;
  object.address = value.object.value;
  object.type = value.type;
  object.scale = value.scale.value;
  object.offset = value.offset;
  return object;
}

template <class T>
T object_of(ObjectAddress address, ObjectType type) {
  T object;
  object.address = address;
  object.type = type;
  return object;
}

}  // namespace

Canopen::Canopen(const CanopenSettings& s)
    : node_{static_cast<std::uint32_t>(s.node.value)},
      cycle_{s.cycle},
      pause_{std::max<Duration>(s.timeout, 500ms)},
      sync_{s.sync},
      has_heartbeat_{s.heartbeat.has_value()},
      is_drive_{s.is_drive()},
      also_listen_{s.also_listen},
      startup_{s},
      sdo_{s.timeout},
      watch_{s.heartbeat ? s.heartbeat->lost_after.value : Duration{}},
      walk_{s.transition_timeout} {
  Problems none;
  fields_ = check_canopen(s, none);
  if (s.own_heartbeat) {
    own_node_ = static_cast<std::uint32_t>(s.own_heartbeat->node.value);
    own_every_ = s.own_heartbeat->every.value;
  }
  for (const auto& [name, read] : s.read) {
    auto& mine = readings_.emplace_back(object_of<Reading>(read));
    mine.field = static_cast<FieldIndex>(readings_.size() - 1);
    mine.every = read.every;
  }
  first_driven_field_ = readings_.size();
  for (const auto& [name, drive] : s.drive) driven_.push_back(object_of<Driven>(drive));
  first_own_field_ = first_driven_field_ + driven_.size();
  if (!is_drive_) return;
  status_ = readings_.size();
  readings_.push_back(object_of<Reading>(status_word, ObjectType::u16));
  shown_mode_at_ = readings_.size();
  readings_.push_back(object_of<Reading>(mode_shown, ObjectType::i8));
  readings_[status_].every = readings_[shown_mode_at_].every = drive_asked_every;
  control_ = driven_.size();
  driven_.push_back(object_of<Driven>(control_word, ObjectType::u16));
  mode_ = driven_.size();
  driven_.push_back(object_of<Driven>(mode_of_operation, ObjectType::i8));
}

void Canopen::set(FieldIndex field, double value) noexcept {
  if (field < first_driven_field_ || field >= fields_.size()) return;
  if (!std::isfinite(value)) {
    ++counters_.clamped;
    return;
  }
  if (field < first_own_field_) {
    auto& driven = driven_[field - first_driven_field_];
    bool clamped = false;
    const auto raw = raw_of(driven.type, (value - driven.offset) / driven.scale, clamped);
    if (clamped) ++counters_.clamped;
    put(driven, raw);
    return;
  }
  const auto& own = fields_[field];
  if (!own.drivable) return;
  const double held = std::clamp(std::round(value), own.low, own.high);
  if (held != std::round(value)) ++counters_.clamped;
  switch (field - first_own_field_) {
    case 2:
      put(driven_[mode_], static_cast<std::uint8_t>(static_cast<std::int8_t>(held)));
      break;
    case 3:
      walk_.want(static_cast<DriveState>(held));
      break;
    case 4:
      if (held == 1.0 && !reset_wish_) walk_.reset_fault();
      reset_wish_ = held == 1.0;
      break;
    default:
      break;
  }
}

void Canopen::put(Driven& driven, std::uint64_t raw) noexcept {
  if (driven.known && driven.raw == raw) return;
  driven.raw = raw;
  driven.known = driven.unsent = true;
  driven.taken = false;
  if (driven.pdo == no_pdo) return;
  auto& pdo = to_device_[driven.pdo];
  driven.place.write(pdo.data, raw);
  pdo.in_use = true;
}

bool Canopen::mode_is_right() const noexcept {
  const auto& mode = driven_[mode_];
  return !mode.known || (shown_mode_ && *shown_mode_ == number_of(mode.type, mode.raw));
}

bool Canopen::settled(FieldIndex field) const noexcept {
  if (phase_ != Phase::running || field < first_driven_field_ || field >= fields_.size()) return false;
  if (field < first_own_field_) return driven_[field - first_driven_field_].taken;
  switch (field - first_own_field_) {
    case 2:
      return driven_[mode_].known && mode_is_right();
    case 3:
      return walk_.arrived();
    case 4:
      return walk_.state() != DriveState::unknown && walk_.state() != DriveState::fault;
    default:
      return false;
  }
}

// The seven low bits of the pre-defined identifiers are the node's number.
std::vector<CanFilter> Canopen::wanted() const {
  std::vector<CanFilter> all{{node_, 0x7F, false}};
  for (const int id : also_listen_) all.push_back({static_cast<std::uint32_t>(id), 0x7FF, false});
  return all;
}

bool Canopen::hears(std::uint32_t identifier) const noexcept {
  return (identifier & 0x7F) == node_ ||
         std::find(also_listen_.begin(), also_listen_.end(), static_cast<int>(identifier)) != also_listen_.end();
}

std::vector<CanFilter> Canopen::sends() const {
  std::vector<CanFilter> all{{cob::nmt, 0x7FF, false}, {cob::sdo_to_device + node_, 0x7FF, false}};
  for (const std::uint32_t pdo : {0x200U, 0x300U, 0x400U, 0x500U}) all.push_back({pdo + node_, 0x7FF, false});
  if (sync_) all.push_back({cob::sync, 0x7FF, false});
  if (own_node_) all.push_back({cob::heartbeat + *own_node_, 0x7FF, false});
  return all;
}

namespace {

// Take-over memory: flags and wish, the cycle's phase (2 words), then each PDO (3 words: identifier, length, in use;
// its data), then ten bits for each driven object: its PDO and bit, all ones for none.
constexpr std::size_t words_of_a_pdo = 3, first_pdo_word = 3,
                      first_place_word = first_pdo_word + most_pdos * words_of_a_pdo;
constexpr std::size_t places_in_a_word = 3, all_words = 24;
constexpr std::uint32_t no_place = 0x3FF, running_bit = 1, in_use_bit = 1U << 31;
static_assert((all_words - first_place_word) * places_in_a_word >= most_driven + 2);

}  // namespace

void Canopen::save(std::span<std::uint32_t> words) const noexcept {
  if (words.size() < all_words) return;
  words[0] = (phase_ == Phase::running ? running_bit : 0) | walk_.saved() << 8;
  const auto next = static_cast<std::uint64_t>(next_cycle_.time_since_epoch().count());
  words[1] = static_cast<std::uint32_t>(next);
  words[2] = static_cast<std::uint32_t>(next >> 32);
  for (std::size_t i = 0; i < most_pdos; ++i) {
    const auto& pdo = to_device_[i];
    const auto w = words.subspan(first_pdo_word + i * words_of_a_pdo, words_of_a_pdo);
    const auto data = read_little(pdo.data);
    w[0] = pdo.identifier | static_cast<std::uint32_t>(pdo.length) << 16 | (pdo.in_use ? in_use_bit : 0);
    w[1] = static_cast<std::uint32_t>(data);
    w[2] = static_cast<std::uint32_t>(data >> 32);
  }
  for (auto& w : words.subspan(first_place_word, all_words - first_place_word)) w = ~0U;
  for (std::size_t i = 0; i < driven_.size(); ++i) {
    const auto& d = driven_[i];
    const auto place = d.pdo == no_pdo ? no_place : static_cast<std::uint32_t>(d.pdo << 6 | d.place.start);
    auto& w = words[first_place_word + i / places_in_a_word];
    const auto shift = 10 * (i % places_in_a_word);
    w = (w & ~(no_place << shift)) | place << shift;
  }
}

void Canopen::load(std::span<const std::uint32_t> words) noexcept {
  if (words.size() < all_words || (words[0] & running_bit) == 0) return;
  next_cycle_ = BenchTime{Duration{static_cast<std::int64_t>(words[1] | std::uint64_t{words[2]} << 32)}};
  for (std::size_t i = 0; i < most_pdos; ++i) {
    auto& pdo = to_device_[i];
    const auto w = words.subspan(first_pdo_word + i * words_of_a_pdo, words_of_a_pdo);
    pdo.identifier = w[0] & 0x7FF;
    pdo.length = std::min<std::size_t>(w[0] >> 16 & 0xF, 8);
    pdo.in_use = (w[0] & in_use_bit) != 0;
    write_little(pdo.data, w[1] | std::uint64_t{w[2]} << 32);
  }
  for (std::size_t i = 0; i < driven_.size(); ++i) {
    auto& d = driven_[i];
    const auto place = words[first_place_word + i / places_in_a_word] >> 10 * (i % places_in_a_word) & no_place;
    const auto bits = bits_of(d.type);
    if (place == no_place || (place & 0x3F) + bits > PdoMap::most_bits) continue;
    d.pdo = place >> 6 & 3;
    d.place = {static_cast<std::uint8_t>(place & 0x3F), static_cast<std::uint8_t>(bits)};
    d.raw = d.place.read(to_device_[d.pdo].data);
    d.known = d.taken = to_device_[d.pdo].in_use;
    d.unsent = false;
  }
  const auto control = is_drive_ ? static_cast<std::uint16_t>(driven_[control_].raw) : std::uint16_t{0};
  walk_.load(words[0] >> 8 & 0xFF, control);
  phase_ = Phase::running;
  startup_.begin(CanopenStartup::Extent::only_maps);
  looking_ = true;
  sdo_.cancel();
}

}  // namespace trackrod
