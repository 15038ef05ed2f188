// What a CANopen device is sent: network management, PDOs and SYNC in cycles, SDO transfers in between.

#include <algorithm>

#include "drivers/protocol/canopen.hpp"

namespace trackrod {
namespace {

constexpr unsigned sync_bit = 1U << most_pdos;

}  // namespace

std::span<const std::byte> Canopen::frame(std::uint32_t id, std::span<const std::byte> data) noexcept {
  CanFrame f;
  f.id = id;
  f.data = data;
  return write_can(f, out_);
}

std::span<const std::byte> Canopen::frame(std::uint32_t id, std::initializer_list<unsigned> data) noexcept {
  std::array<std::byte, 8> bytes{};
  std::transform(data.begin(), data.end(), bytes.begin(), [](unsigned b) { return static_cast<std::byte>(b); });
  return frame(id, std::span{bytes}.first(data.size()));
}

std::span<const std::byte> Canopen::due(BenchTime now) noexcept {
  if (phase_ == Phase::begin) begin(now);
  if (watch_.lost(now)) {
    tell(canopen_message(CanopenMessage::heartbeat_lost));
    begin_again();
    begin(now);
  }
  if (const auto message = network(now); !message.empty()) return message;
  if (phase_ == Phase::running)
    if (const auto message = cyclic(now); !message.empty()) return message;
  next_transfer(now);
  if (const auto request = sdo_.due(now); !request.empty()) {
    const auto message = frame(cob::sdo_to_device + node_, request);
    if (const auto result = sdo_.take_result(); result.kind != SdoResult::Kind::none)
      ended(result, {now, StampedBy::harness, {}}, nullptr);
    return message;
  }
  return {};
}

std::span<const std::byte> Canopen::network(BenchTime now) noexcept {
  if (command_) {
    const auto command = static_cast<unsigned>(*command_);
    command_.reset();
    return frame(cob::nmt, {command, node_});
  }
  if (own_node_ && now >= own_next_) {
    // Never sent yet, or a gap: from now on.
    own_next_ = now - own_next_ >= own_every_ ? now + own_every_ : own_next_ + own_every_;
    return frame(cob::heartbeat + *own_node_, {static_cast<unsigned>(NmtState::operational)});
  }
  return {};
}

// PDOs first, then SYNC, at which the device takes what they hold.
std::span<const std::byte> Canopen::cyclic(BenchTime now) noexcept {
  if (next_cycle_ == BenchTime{} || next_cycle_ - now > cycle_) next_cycle_ = now;
  if (now >= next_cycle_) {
    // Missed cycles are left out, not made up for, and the phase stays.
    next_cycle_ += cycle_ * ((now - next_cycle_) / cycle_ + 1);
    if (is_drive_) walk(now);
    cycle_left_ = sync_ ? sync_bit : 0;
    for (std::size_t i = 0; i < most_pdos; ++i)
      if (to_device_[i].in_use) cycle_left_ |= 1U << i;
  }
  for (std::size_t i = 0; i < most_pdos; ++i) {
    if ((cycle_left_ & 1U << i) == 0) continue;
    cycle_left_ &= ~(1U << i);
    for (auto& d : driven_)
      if (d.pdo == i && d.known) d.taken = true;
    const auto& pdo = to_device_[i];
    return frame(pdo.identifier, std::span{pdo.data}.first(pdo.length));
  }
  if ((cycle_left_ & sync_bit) == 0) return {};
  cycle_left_ &= ~sync_bit;
  return frame(cob::sync, std::span<const std::byte>{});
}

void Canopen::walk(BenchTime now) noexcept {
  tell(walk_.step(now, mode_is_right()));
  put(driven_[control_], walk_.control_word());
}

// Pre-operational first: nobody changes the mapping while it is read, and a device that ran on is stopped.
void Canopen::begin(BenchTime now) noexcept {
  phase_ = Phase::asking;
  command_ = NmtCommand::enter_pre_operational;
  startup_.begin(CanopenStartup::Extent::all);
  looking_ = false;
  not_before_ = now;
}

void Canopen::begin_again() noexcept {
  phase_ = Phase::begin;
  walk_.forget();
  watch_.forget();
  shown_mode_.reset();
  cycle_left_ = 0;
  to_device_ = {};
  if (!sdo_.idle()) sdo_.cancel();
  for (auto& d : driven_) {
    d.pdo = no_pdo;
    d.unsent = d.known;
    d.taken = false;
  }
  for (auto& r : readings_) r.pdo = no_pdo;
}

void Canopen::start(BenchTime now) noexcept {
  command_ = NmtCommand::start;
  started_ = now;
  phase_ = has_heartbeat_ ? Phase::starting : Phase::running;
  if (has_heartbeat_) watch_.heard(now);
}

void Canopen::use_maps() noexcept {
  const auto& maps = startup_.maps();
  for (auto& r : readings_) {
    const bool is_mapped = find_place(r, maps.from_device);
    if (!is_mapped && !r.every) tell(canopen_message(CanopenMessage::not_mapped, r.address));
    if (is_mapped && !hears(maps.from_device[r.pdo].identifier())) {
      tell(canopen_message(CanopenMessage::foreign_pdo, maps.from_device[r.pdo].identifier()));
      r.pdo = no_pdo;
    }
  }
  if (looking_) return;
  for (std::size_t i = 0; i < most_pdos; ++i) {
    const auto& map = maps.to_device[i];
    to_device_[i] = {map.identifier(), map.length(), maps.held[i], false};
  }
  for (auto& d : driven_) {
    if (!find_place(d, maps.to_device) || !d.known) continue;
    d.known = false;  // so that it counts as new
    put(d, d.raw);
  }
}

// False where no PDO has the object, or one that cannot be used.
bool Canopen::find_place(Object& object, std::span<const PdoMap> maps) noexcept {
  object.pdo = no_pdo;
  for (std::size_t i = 0; i < maps.size(); ++i) {
    const auto* mapped = maps[i].is_valid() ? maps[i].find(object.address) : nullptr;
    if (mapped == nullptr) continue;
    if (maps[i].is_extended()) {
      tell(canopen_message(CanopenMessage::foreign_pdo, maps[i].identifier()));
    } else if (mapped->place.bits != bits_of(object.type)) {
      tell(canopen_message(CanopenMessage::size_differs, object.address));
    } else {
      object.pdo = i;
      object.place = mapped->place;
    }
    break;
  }
  return object.pdo != no_pdo;
}

// Values to write, then a look at the PDOs that is still owed, then the reading that has waited longest.
void Canopen::next_transfer(BenchTime now) noexcept {
  if (phase_ == Phase::starting && now - started_ >= pause_) start(now);
  if (!sdo_.idle() || now < not_before_) return;
  if (phase_ == Phase::asking || looking_) {
    if (startup_.refused()) {
      begin_again();
      begin(now);
      return;
    }
    if (startup_.done()) {
      use_maps();
      if (!looking_) start(now);
      looking_ = false;
    }
  }
  if (phase_ == Phase::running) {
    for (std::size_t i = 0; i < driven_.size(); ++i) {
      auto& d = driven_[i];
      if (!d.unsent || d.pdo != no_pdo) continue;
      std::array<std::byte, 8> bytes{};
      write_little(bytes, d.raw);
      purpose_ = Purpose::write;
      transfer_ = i;
      d.unsent = false;
      sdo_.write(d.address, std::span{bytes}.first(bytes_of(d.type)));
      return;
    }
  }
  if (const auto asked = phase_ == Phase::asking || looking_ ? startup_.next() : std::nullopt) {
    purpose_ = Purpose::startup;
    if (asked->writes) {
      std::array<std::byte, 4> bytes{};
      write_little(bytes, asked->value);
      sdo_.write(asked->object, std::span{bytes}.first(asked->size));
    } else {
      sdo_.read(asked->object);
    }
    return;
  }
  if (phase_ != Phase::running) return;
  Reading* next = nullptr;
  for (auto& r : readings_)
    if (r.every && r.pdo == no_pdo && now >= r.next && (next == nullptr || r.next < next->next)) next = &r;
  if (next == nullptr) return;
  next->next = std::max(next->next + *next->every, now);
  purpose_ = Purpose::read;
  transfer_ = static_cast<std::size_t>(next - readings_.data());
  sdo_.read(next->address);
}

}  // namespace trackrod
