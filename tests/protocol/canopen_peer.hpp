#pragma once
// A CANopen drive to talk to, written from the published documents (CiA 301, CiA 402) and not from the code under test:
// it has byte handling of its own. NMT slave, heartbeat, SDO server with segments, PDOs as its dictionary maps them,
// emergency messages, the state machine of a drive, and an axis that follows its targets at once.

#include <cstdint>
#include <deque>
#include <functional>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "tests/protocol/wire.hpp"

namespace trackrod::testing {

struct CanData {
  unsigned id{0};
  std::vector<unsigned> data;
  bool operator==(const CanData&) const = default;
};
Bytes datagram(const CanData& frame);
CanData can_data(std::span<const std::byte> datagram);
inline std::ostream& operator<<(std::ostream& out, const CanData& f) {
  out << std::hex << f.id << " [";
  for (const auto b : f.data) out << ' ' << b;
  return out << " ]" << std::dec;
}

class CanopenPeer {
 public:
  using Value = std::vector<unsigned>;  // bytes, least significant first

  explicit CanopenPeer(unsigned node);

  // Dictionary; the key is index * 256 + sub-index.
  void put(unsigned index, unsigned sub, std::uint64_t value, std::size_t bytes);
  void put_text(unsigned index, unsigned sub, const std::string& text);
  void remove(unsigned index, unsigned sub) { objects_.erase(key(index, sub)); }
  std::int64_t number(unsigned index, unsigned sub = 0) const;  // two's complement
  bool has(unsigned index, unsigned sub) const { return objects_.count(key(index, sub)) != 0; }
  // PDO n (0 to 3) with these entries, index << 16 | sub << 8 | bits.
  void map_sent(unsigned pdo, const std::vector<std::uint32_t>& entries, unsigned type = 1);
  void map_taken(unsigned pdo, const std::vector<std::uint32_t>& entries);
  void start_anew();  // power on: boot-up message

  void take(const CanData& frame, Duration now);
  // Frames to send at `now`.
  std::vector<CanData> due(Duration now);

  void fail(unsigned error_code);  // of the drive: emergency, fault reaction, fault
  void send_emergency(unsigned error_code, unsigned error_register);
  void go_to(unsigned drive_state);  // by itself, numbered as DriveState
  unsigned drive_state() const { return state_; }
  unsigned nmt_state() const { return nmt_; }
  std::vector<unsigned> states;         // of the drive, in the order they were entered
  std::vector<unsigned> control_words;  // each change

  bool mute{false};                       // takes nothing and says nothing
  bool follows{true};                     // the axis
  std::optional<unsigned> stuck_at;       // drive state that is not left on a command
  std::map<unsigned, unsigned> abort_on;  // key: abort code for any transfer of it
  unsigned sdo_requests{0};

 private:
  static unsigned key(unsigned index, unsigned sub) { return index << 8 | sub; }
  void sdo(const Value& data);
  void sdo_write_done(unsigned key, const Value& value);
  void abort(unsigned key, unsigned code);
  void answer(unsigned first, unsigned key, const Value& data);
  void take_pdo(unsigned pdo, const Value& data);
  Value pdo_data(unsigned pdo) const;
  void control(unsigned word);
  void enter(unsigned state);
  void sync();

  unsigned node_;
  std::map<unsigned, Value> objects_;
  std::deque<CanData> out_;
  unsigned nmt_{0x7F}, state_{1}, control_{0};
  Duration next_heartbeat_{}, now_{};
  std::optional<Duration> consumer_last_;
  // Segmented transfer.
  unsigned open_key_{0}, toggle_{0};
  bool reading_{false}, writing_{false};
  Value segments_;
  std::size_t done_{0};
};

}  // namespace trackrod::testing
