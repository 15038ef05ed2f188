#include "tests/protocol/canopen_peer.hpp"

#include <algorithm>

#include "harness/base/can_frame.hpp"

namespace trackrod::testing {
namespace {

std::uint64_t little(const CanopenPeer::Value& bytes, std::size_t from, std::size_t count) {
  std::uint64_t v = 0;
  for (std::size_t i = 0; i < count; ++i) v |= std::uint64_t{bytes.at(from + i)} << (8 * i);
  return v;
}

CanopenPeer::Value bytes_of_number(std::uint64_t value, std::size_t count) {
  CanopenPeer::Value v;
  for (std::size_t i = 0; i < count; ++i) v.push_back(static_cast<unsigned>(value >> (8 * i) & 0xFF));
  return v;
}

}  // namespace

// The byte form of a CAN frame, by its description.
Bytes datagram(const CanData& f) {
  Bytes b;
  for (int shift = 24; shift >= 0; shift -= 8) b.push_back(static_cast<std::byte>(f.id >> shift));
  b.push_back(std::byte{0});
  for (const auto v : f.data) b.push_back(static_cast<std::byte>(v));
  return b;
}

CanData can_data(std::span<const std::byte> b) {
  REQUIRE(b.size() >= 5);
  CanData f;
  for (std::size_t i = 0; i < 4; ++i) f.id = f.id << 8 | std::to_integer<unsigned>(b[i]);
  for (std::size_t i = 5; i < b.size(); ++i) f.data.push_back(std::to_integer<unsigned>(b[i]));
  return f;
}

CanopenPeer::CanopenPeer(unsigned node) : node_{node} {
  put(0x1000, 0, 0x00020192, 4);  // servo drive after CiA 402
  put(0x1001, 0, 0, 1);
  put_text(0x1008, 0, "servo axis of the test");
  put(0x1016, 1, 0, 4);
  put(0x1017, 0, 0, 2);
  put(0x1018, 0, 4, 1);
  put(0x1018, 1, 0x11223344, 4);
  put(0x1018, 2, 7, 4);
  put(0x1018, 3, 0x00010002, 4);
  put(0x1018, 4, 4711, 4);
  put(0x603F, 0, 0, 2);
  put(0x6040, 0, 0, 2);
  put(0x6041, 0, 0, 2);
  put(0x6060, 0, 0, 1);
  put(0x6061, 0, 0, 1);
  put(0x6064, 0, 0, 4);
  put(0x606C, 0, 0, 4);
  put(0x6071, 0, 0, 2);
  put(0x6077, 0, 0, 2);
  put(0x607A, 0, 0, 4);
  put(0x60FF, 0, 0, 4);
  map_sent(0, {0x60410010, 0x60640020});
  map_taken(0, {0x60400010, 0x607A0020});
  enter(1);
  states.clear();
}

void CanopenPeer::put(unsigned index, unsigned sub, std::uint64_t value, std::size_t bytes) {
  objects_[key(index, sub)] = bytes_of_number(value, bytes);
}

void CanopenPeer::put_text(unsigned index, unsigned sub, const std::string& text) {
  Value v;
  for (const char c : text) v.push_back(static_cast<unsigned char>(c));
  objects_[key(index, sub)] = v;
}

std::int64_t CanopenPeer::number(unsigned index, unsigned sub) const {
  const auto& v = objects_.at(key(index, sub));
  const auto raw = little(v, 0, v.size());
  const auto spare = 64 - 8 * v.size();
  return static_cast<std::int64_t>(raw << spare) >> spare;
}

void CanopenPeer::map_sent(unsigned pdo, const std::vector<std::uint32_t>& entries, unsigned type) {
  put(0x1800 + pdo, 1, 0x180 + 0x100 * pdo + node_, 4);
  put(0x1800 + pdo, 2, type, 1);
  put(0x1A00 + pdo, 0, entries.size(), 1);
  for (unsigned i = 0; i < entries.size(); ++i) put(0x1A00 + pdo, i + 1, entries[i], 4);
}

void CanopenPeer::map_taken(unsigned pdo, const std::vector<std::uint32_t>& entries) {
  put(0x1400 + pdo, 1, 0x200 + 0x100 * pdo + node_, 4);
  put(0x1400 + pdo, 2, 255, 1);
  put(0x1600 + pdo, 0, entries.size(), 1);
  for (unsigned i = 0; i < entries.size(); ++i) put(0x1600 + pdo, i + 1, entries[i], 4);
}

void CanopenPeer::start_anew() {
  nmt_ = 0x7F;
  reading_ = writing_ = false;
  consumer_last_.reset();
  put(0x1017, 0, 0, 2);
  put(0x1016, 1, 0, 4);
  put(0x6040, 0, 0, 2);
  control_ = 0;
  enter(1);
  out_.clear();
  out_.push_back({0x700 + node_, {0}});
}

void CanopenPeer::take(const CanData& f, Duration now) {
  now_ = now;
  if (mute) return;
  if (f.id == 0 && f.data.size() == 2 && (f.data[1] == 0 || f.data[1] == node_)) {
    if (f.data[0] == 0x01) nmt_ = 5;
    if (f.data[0] == 0x02) nmt_ = 4;
    if (f.data[0] == 0x80) nmt_ = 0x7F;
    if (f.data[0] == 0x81 || f.data[0] == 0x82) start_anew();
  } else if (f.id == 0x080) {
    if (nmt_ == 5) sync();
  } else if (f.id == 0x600 + node_) {
    if (nmt_ != 4) sdo(f.data);
  } else if (f.id > 0x700 && f.id == 0x700 + (static_cast<unsigned>(number(0x1016, 1)) >> 16 & 0x7F)) {
    consumer_last_ = now;
  } else {
    for (unsigned pdo = 0; pdo < 4; ++pdo)
      if (nmt_ == 5 && has(0x1400 + pdo, 1) && f.id == little(objects_.at(key(0x1400 + pdo, 1)), 0, 4))
        take_pdo(pdo, f.data);
  }
}

std::vector<CanData> CanopenPeer::due(Duration now) {
  now_ = now;
  using namespace std::chrono_literals;
  const auto heartbeat = number(0x1017) * 1ms;
  if (heartbeat > Duration{} && now >= next_heartbeat_) {
    out_.push_back({0x700 + node_, {nmt_}});
    next_heartbeat_ = std::max(next_heartbeat_ + heartbeat, now);
  }
  const auto watched = (number(0x1016, 1) & 0xFFFF) * 1ms;
  if (watched > Duration{} && consumer_last_ && now - *consumer_last_ > watched) {
    consumer_last_.reset();
    fail(0x8130);
  }
  std::vector<CanData> all(out_.begin(), out_.end());
  out_.clear();
  if (mute) all.clear();
  return all;
}

// ---- SDO server, CiA 301 ------------------------------------------------------------------------

void CanopenPeer::answer(unsigned first, unsigned k, const Value& data) {
  Value bytes{first, k >> 8 & 0xFF, k >> 16 & 0xFF, k & 0xFF};
  bytes.insert(bytes.end(), data.begin(), data.end());
  bytes.resize(8);
  out_.push_back({0x580 + node_, bytes});
}

void CanopenPeer::abort(unsigned k, unsigned code) {
  reading_ = writing_ = false;
  answer(0x80, k, bytes_of_number(code, 4));
}

void CanopenPeer::sdo(const Value& d) {
  if (d.size() != 8) return;
  ++sdo_requests;
  const auto command = d[0] >> 5;
  const auto k = key(static_cast<unsigned>(little(d, 1, 2)), d[3]);
  if (command == 4) {
    reading_ = writing_ = false;
    return;
  }
  if (command == 1 || command == 2) {
    reading_ = writing_ = false;
    if (const auto at = abort_on.find(k); at != abort_on.end()) return abort(k, at->second);
    if (objects_.count(k) == 0)
      return abort(k, objects_.lower_bound(k & ~0xFFU) != objects_.end() &&
                              (objects_.lower_bound(k & ~0xFFU)->first & ~0xFFU) == (k & ~0xFFU)
                          ? 0x06090011
                          : 0x06020000);
  }
  if (command == 2) {
    const auto& value = objects_.at(k);
    if (value.size() <= 4) return answer(0x43 | (4 - static_cast<unsigned>(value.size())) << 2, k, value);
    reading_ = true;
    open_key_ = k;
    segments_ = value;
    done_ = toggle_ = 0;
    answer(0x41, k, bytes_of_number(value.size(), 4));
  } else if (command == 3) {
    if (!reading_) return abort(0, 0x05040001);
    if ((d[0] >> 4 & 1) != toggle_) return abort(open_key_, 0x05030000);
    const auto n = std::min<std::size_t>(7, segments_.size() - done_);
    const bool last = done_ + n == segments_.size();
    Value bytes{toggle_ << 4 | static_cast<unsigned>(7 - n) << 1 | (last ? 1U : 0U)};
    bytes.insert(bytes.end(), segments_.begin() + static_cast<std::ptrdiff_t>(done_),
                 segments_.begin() + static_cast<std::ptrdiff_t>(done_ + n));
    bytes.resize(8);
    done_ += n;
    toggle_ ^= 1;
    reading_ = !last;
    out_.push_back({0x580 + node_, bytes});
  } else if (command == 1) {
    if ((d[0] & 2) != 0) {
      const auto size = (d[0] & 1) != 0 ? 4 - (d[0] >> 2 & 3) : 4;
      sdo_write_done(k, Value(d.begin() + 4, d.begin() + 4 + size));
      return;
    }
    writing_ = true;
    open_key_ = k;
    segments_.clear();
    toggle_ = 0;
    answer(0x60, k, {});
  } else if (command == 0) {
    if (!writing_) return abort(0, 0x05040001);
    if ((d[0] >> 4 & 1) != toggle_) return abort(open_key_, 0x05030000);
    segments_.insert(segments_.end(), d.begin() + 1, d.begin() + 8 - (d[0] >> 1 & 7));
    if ((d[0] & 1) != 0) {
      writing_ = false;
      if (segments_.size() != objects_.at(open_key_).size()) return abort(open_key_, 0x06070010);
      objects_[open_key_] = segments_;
    }
    out_.push_back({0x580 + node_, {0x20 | toggle_ << 4, 0, 0, 0, 0, 0, 0, 0}});
    toggle_ ^= 1;
  }
}

void CanopenPeer::sdo_write_done(unsigned k, const Value& value) {
  if (value.size() != objects_.at(k).size()) return abort(k, 0x06070010);
  objects_[k] = value;
  if (k == key(0x6040, 0)) control(static_cast<unsigned>(little(value, 0, 2)));
  if (k == key(0x6060, 0)) objects_[key(0x6061, 0)] = value;
  answer(0x60, k, {});
}

// ---- PDOs ---------------------------------------------------------------------------------------

void CanopenPeer::take_pdo(unsigned pdo, const Value& data) {
  std::size_t at = 0;
  for (unsigned i = 1; i <= static_cast<unsigned>(number(0x1600 + pdo, 0)); ++i) {
    const auto entry = static_cast<std::uint32_t>(number(0x1600 + pdo, i));
    const auto bytes = (entry & 0xFF) / 8;
    if (at + bytes > data.size()) return send_emergency(0x8210, 0x11);
    if (entry >> 16 >= 0x20) {
      const auto k = entry >> 8;
      const Value value(data.begin() + static_cast<std::ptrdiff_t>(at),
                        data.begin() + static_cast<std::ptrdiff_t>(at + bytes));
      objects_[k] = value;
      if (k == key(0x6040, 0)) control(static_cast<unsigned>(little(value, 0, 2)));
      if (k == key(0x6060, 0)) objects_[key(0x6061, 0)] = value;
    }
    at += bytes;
  }
}

CanopenPeer::Value CanopenPeer::pdo_data(unsigned pdo) const {
  Value data;
  for (unsigned i = 1; i <= static_cast<unsigned>(number(0x1A00 + pdo, 0)); ++i) {
    const auto entry = static_cast<std::uint32_t>(number(0x1A00 + pdo, i));
    Value value((entry & 0xFF) / 8);
    if (const auto at = objects_.find(entry >> 8); at != objects_.end() && entry >> 16 >= 0x20) value = at->second;
    value.resize((entry & 0xFF) / 8);
    data.insert(data.end(), value.begin(), value.end());
  }
  return data;
}

void CanopenPeer::sync() {
  if (state_ == 4 && follows) {
    const auto mode = number(0x6061);
    if (mode == 8) objects_[key(0x6064, 0)] = objects_[key(0x607A, 0)];
    if (mode == 9) objects_[key(0x606C, 0)] = objects_[key(0x60FF, 0)];
    if (mode == 10) objects_[key(0x6077, 0)] = objects_[key(0x6071, 0)];
  }
  for (unsigned pdo = 0; pdo < 4; ++pdo)
    if (has(0x1800 + pdo, 1) && (number(0x1800 + pdo, 1) & 0x80000000) == 0)
      out_.push_back({static_cast<unsigned>(number(0x1800 + pdo, 1) & 0x7FF), pdo_data(pdo)});
}

void CanopenPeer::send_emergency(unsigned code, unsigned error_register) {
  put(0x1001, 0, error_register, 1);
  out_.push_back({0x080 + node_, {code & 0xFF, code >> 8, error_register, 0, 0, 0, 0, 0}});
}

// ---- state machine of a drive, CiA 402 ----------------------------------------------------------

void CanopenPeer::enter(unsigned state) {
  // Status word by state; bit 4: voltage enabled, bit 9: remote. Bit 5 is low in quick stop.
  static const std::map<unsigned, unsigned> words{{0, 0x0200}, {1, 0x0240}, {2, 0x0231}, {3, 0x0233},
                                                  {4, 0x0237}, {5, 0x0217}, {6, 0x021F}, {7, 0x0218}};
  state_ = state;
  put(0x6041, 0, words.at(state), 2);
  states.push_back(state);
}

void CanopenPeer::fail(unsigned code) {
  put(0x603F, 0, code, 2);
  send_emergency(code, 0x01);
  enter(6);
  enter(7);
}

void CanopenPeer::go_to(unsigned state) { enter(state); }

// Commands by bits (7 fault reset, 3 enable operation, 2 quick stop, 1 enable voltage, 0 switch on).
void CanopenPeer::control(unsigned word) {
  const bool rising_reset = (word & 0x80) != 0 && (control_ & 0x80) == 0;
  if (word != control_) control_words.push_back(word);
  control_ = word;
  if (stuck_at == state_) return;
  const bool disable_voltage = (word & 0x02) == 0;
  const bool quick_stop = (word & 0x06) == 0x02;
  const bool shutdown = (word & 0x07) == 0x06;
  const bool switch_on = (word & 0x0F) == 0x07;
  const bool enable = (word & 0x0F) == 0x0F;
  switch (state_) {
    case 1:
      if (shutdown) enter(2);
      break;
    case 2:
      if (switch_on)
        enter(3);
      else if (disable_voltage || quick_stop)
        enter(1);
      break;
    case 3:
      if (enable)
        enter(4);
      else if (shutdown)
        enter(2);
      else if (disable_voltage || quick_stop)
        enter(1);
      break;
    case 4:
      if (disable_voltage)
        enter(1);
      else if (quick_stop)
        enter(5);
      else if (shutdown)
        enter(2);
      else if (switch_on)
        enter(3);
      break;
    case 5:
      if (disable_voltage)
        enter(1);
      else if (enable)
        enter(4);
      break;
    case 7:
      if (rising_reset) {
        put(0x603F, 0, 0, 2);
        enter(1);
      }
      break;
    default:
      break;
  }
}

}  // namespace trackrod::testing
