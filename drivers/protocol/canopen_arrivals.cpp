// What comes from a CANopen device.

#include <algorithm>

#include "drivers/protocol/canopen.hpp"

namespace trackrod {

bool Canopen::on_bytes(std::span<const std::byte> bytes, Stamp stamp, FieldSink& sink) noexcept {
  const auto can = read_can(bytes);
  if (!can) {
    ++counters_.bad_length;
    return false;
  }
  if (can->error || can->remote || can->extended || can->fd) return false;
  bool good = false;
  if (can->id == cob::heartbeat + node_) {
    good = on_heartbeat(can->data, stamp, sink);
  } else if (can->id == cob::emergency + node_) {
    good = on_emergency(can->data);
  } else if (can->id == cob::sdo_from_device + node_) {
    good = sdo_.take(can->data);
    if (const auto result = sdo_.take_result(); result.kind != SdoResult::Kind::none) ended(result, stamp, &sink);
  } else {
    const auto& maps = startup_.maps().from_device;
    const auto at = std::find_if(maps.begin(), maps.end(), [&](const PdoMap& m) {
      return m.is_valid() && !m.is_extended() && m.identifier() == can->id;
    });
    // Before all is known of the PDOs, and from PDOs of others, nothing is taken.
    if (at == maps.end() || phase_ != Phase::running || looking_) return false;
    good = on_pdo(static_cast<std::size_t>(at - maps.begin()), can->data, stamp, sink);
  }
  ++(good ? counters_.good : counters_.bad_length);
  return good;
}

bool Canopen::on_heartbeat(std::span<const std::byte> data, Stamp stamp, FieldSink& sink) noexcept {
  if (data.size() != 1) return false;
  const auto number = std::to_integer<std::uint8_t>(data[0]);
  const auto state = static_cast<NmtState>(number);
  sink.field(static_cast<FieldIndex>(first_own_field_), number, stamp);
  // Before it is started its heartbeat may still come as slowly as it likes.
  if (phase_ == Phase::starting || phase_ == Phase::running) watch_.heard(stamp.when);
  if (state == NmtState::boot_up) {
    if (phase_ == Phase::running || phase_ == Phase::starting) tell(canopen_message(CanopenMessage::started_again));
    begin_again();
  } else if (state == NmtState::operational) {
    if (phase_ == Phase::starting) phase_ = Phase::running;
  } else if (phase_ == Phase::running && has_heartbeat_) {
    tell(canopen_message(CanopenMessage::left_operational, number));
    begin_again();
  }
  return true;
}

bool Canopen::on_emergency(std::span<const std::byte> data) noexcept {
  if (data.size() != 8) return false;
  const auto code = static_cast<std::uint32_t>(read_little(data.first(2)));
  tell(canopen_message(CanopenMessage::emergency, std::to_integer<std::uint32_t>(data[2]) << 16 | code));
  return true;
}

// A PDO with more bytes than are mapped is taken, one with fewer is not (CiA 301).
bool Canopen::on_pdo(std::size_t pdo, std::span<const std::byte> data, Stamp stamp, FieldSink& sink) noexcept {
  if (data.size() < startup_.maps().from_device[pdo].length()) return false;
  for (const auto& r : readings_)
    if (r.pdo == pdo) deliver(r, r.place.read(data), stamp, sink);
  return true;
}

void Canopen::deliver(const Reading& reading, std::uint64_t raw, Stamp stamp, FieldSink& sink) noexcept {
  const double number = number_of(reading.type, raw);
  if (reading.field != no_field) {
    sink.field(reading.field, reading.scale * number + reading.offset, stamp);
    return;
  }
  const auto place = static_cast<std::size_t>(&reading - readings_.data());
  if (place == status_) {
    tell(walk_.on_status(static_cast<std::uint16_t>(raw), stamp.when));
    if (walk_.state() != DriveState::unknown)
      sink.field(static_cast<FieldIndex>(first_own_field_ + 1), static_cast<double>(walk_.state()), stamp);
  } else {
    shown_mode_ = number;
    sink.field(static_cast<FieldIndex>(first_own_field_ + 2), number, stamp);
  }
}

void Canopen::ended(SdoResult result, Stamp stamp, FieldSink* sink) noexcept {
  using Kind = SdoResult::Kind;
  if (result.kind == Kind::no_answer) {
    no_answer();
    not_before_ = stamp.when;
    if (purpose_ == Purpose::write) driven_[transfer_].unsent = true;
    if (phase_ == Phase::asking) command_ = NmtCommand::enter_pre_operational;  // it may not have heard that either
    return;
  }
  told_no_answer_ = false;
  if (purpose_ == Purpose::startup) {
    startup_ended(result, stamp.when);
    return;
  }
  const auto object = sdo_.object();
  if (result.kind == Kind::aborted) {
    ++counters_.refused;
    tell(canopen_abort_message(result.abort_code, object));
    return;
  }
  if (purpose_ == Purpose::write) {
    auto& d = driven_[transfer_];
    if (!d.unsent) d.taken = true;
    return;
  }
  const auto& r = readings_[transfer_];
  if (sdo_.value().size() < bytes_of(r.type)) {
    ++counters_.bad_length;
    tell(canopen_message(CanopenMessage::size_differs, object));
  } else if (sink != nullptr) {
    deliver(r, read_little(sdo_.value().first(bytes_of(r.type))), stamp, *sink);
  }
}

void Canopen::startup_ended(SdoResult result, BenchTime now) noexcept {
  std::uint32_t message = 0;
  if (result.kind == SdoResult::Kind::aborted)
    message = startup_.was_aborted(result.abort_code);
  else if (result.kind == SdoResult::Kind::read)
    message = startup_.was_read(sdo_.value());
  else
    startup_.was_written();
  if (message == 0) return;
  ++counters_.refused;
  tell(message);
  if (startup_.refused()) not_before_ = now + pause_;
}

// One message for each silence, however often is asked in it.
void Canopen::no_answer() noexcept {
  ++counters_.timed_out;
  if (!told_no_answer_) tell(canopen_message(CanopenMessage::no_answer, sdo_.object()));
  told_no_answer_ = true;
}

}  // namespace trackrod
