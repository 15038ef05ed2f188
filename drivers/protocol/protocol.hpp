#pragma once
// What bytes mean. A protocol is a state machine over bytes and time: it opens nothing, waits for nothing and reads no
// clock, so the same code serves the bench, a rehearsal and a test. A new protocol is one file and one line in
// protocol_table().

#include <any>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "harness/base/account.hpp"
#include "harness/base/can_frame.hpp"
#include "harness/base/catalogue.hpp"
#include "harness/base/clock_model.hpp"
#include "harness/base/message_fault.hpp"
#include "harness/base/time.hpp"
#include "harness/base/value_list.hpp"

namespace trackrod {

using FieldIndex = std::uint16_t;  // position in fields()

class FieldSink {
 public:
  virtual ~FieldSink() = default;
  virtual void field(FieldIndex field, double value, Stamp stamp) noexcept = 0;
};

struct ProtocolCounters {
  std::uint64_t good{0};  // messages taken
  std::uint64_t bad_checksum{0};
  std::uint64_t bad_length{0};  // or otherwise not decodable
  std::uint64_t lost{0};        // told by the alive counter
  std::uint64_t repeated{0};
  std::uint64_t reordered{0};       // came after one that was sent later
  std::uint64_t wrong_sequence{0};  // end-to-end protection: the counter stepped too far
  std::uint64_t became_invalid{0};  // a message that was valid by its protection no longer is
  std::uint64_t timed_out{0};       // answers that did not come
  std::uint64_t refused{0};         // the device said no
  std::uint64_t clamped{0};         // driven values that their field cannot hold: out of bounds or not a number
};

// The clock of a device that stamps its own samples, as seen in one kind of its messages.
struct StampClock {
  std::string message;
  ClockModel model;
};

// The text is empty until it was read, and where the device does not tell. Valid until the next call of a function that
// is not const.
struct IdentityItem {
  std::string_view name, text;
};

// Called on one thread; nothing here allocates after construction, blocks or throws.
class Protocol : public Disturbable {
 public:
  virtual const std::vector<FieldInfo>& fields() const noexcept = 0;
  // Any piece of a byte stream, or one datagram. Returns true when at least one intact message was in it.
  virtual bool on_bytes(std::span<const std::byte> bytes, Stamp stamp, FieldSink& sink) noexcept = 0;
  // Time has passed, once a tick: a message that silence ends is taken here. When it came; empty when none was found.
  virtual std::optional<BenchTime> on_quiet(BenchTime /*now*/, FieldSink& /*sink*/) noexcept { return std::nullopt; }
  // The value to be sent from now on. It is kept until the next one.
  virtual void set(FieldIndex field, double value) noexcept = 0;
  // As Device::prepare_list() and start_list() say; values of the field.
  virtual bool prepare_list(FieldIndex /*field*/, std::span<const ListPoint> /*points*/) noexcept { return false; }
  virtual bool start_list(FieldIndex /*field*/) noexcept { return false; }
  // The next message to be sent at `now`; empty when none is due. Valid until the next call; call until empty. A
  // message counts as sent when it was asked for.
  virtual std::span<const std::byte> due(BenchTime now) noexcept = 0;
  // The value of `field` reached the device as far as the protocol can tell (read back, where it does that).
  virtual bool settled(FieldIndex field) const noexcept = 0;
  // An entry of the device's error queue or the like: its code, 0 = none. Taking it clears it.
  virtual std::uint32_t take_message() noexcept = 0;
  // When the message last taken came about, for protocols that find out by asking. No time: just now.
  virtual Window message_window() const noexcept { return {}; }
  // What such a code means, in words; empty where the number says it all. Any thread, may allocate.
  virtual std::string describe_message(std::uint32_t) const { return ""; }
  // What the device can say of itself, item by item, as "serial" -> "0042". Their number and names are fixed. On the
  // thread of the functions above.
  virtual std::size_t identity_items() const noexcept { return 0; }
  virtual IdentityItem identity_item(std::size_t /*item*/) const noexcept { return {}; }
  // Asks anew for all that, and for the whole fault memory where the device has one.
  virtual void inspect() noexcept {}
  // The answers since inspect() are there, or will not come.
  virtual bool inspected() const noexcept { return true; }
  // The fault memory as of inspect(); no value where there is none, or it was not read. Valid as an item's text is.
  virtual std::optional<std::span<const FaultEntry>> faults() const noexcept { return std::nullopt; }
  // The items that were read, for people: one "name: text" a line. May allocate.
  std::string identity() const;
  // The clocks behind the stamps of the device's messages; none where it does not stamp. On the thread of the functions
  // above; may allocate.
  virtual std::vector<StampClock> clocks() const { return {}; }
  // Makes room for a fault of what due() gives, before the first of its calls. May allocate.
  virtual void expect(const MessageFault&) {}
  // On a CAN bus: the frames that on_bytes() wants to see (datagrams as in can_frame.hpp). May allocate.
  virtual std::vector<CanFilter> wanted() const { return {}; }
  // On a CAN bus: the frames that due() gives. Their echoes time the sending side. May allocate.
  virtual std::vector<CanFilter> sends() const { return {}; }
  virtual const ProtocolCounters& counters() const noexcept = 0;
  // Counters and the like, for the process that takes over. At most 24 words.
  virtual void save(std::span<std::uint32_t> words) const noexcept = 0;
  virtual void load(std::span<const std::uint32_t> words) noexcept = 0;
  // What ends a message that may have been half sent ("\n" for a line protocol); empty for datagrams.
  virtual std::span<const std::byte> terminator() const noexcept = 0;
  // Nothing but its own rest ends a message that was half sent: its length stands in front, in a stream without pauses.
  // Such messages have at most 288 bytes.
  virtual bool needs_its_rest() const noexcept { return false; }
};

// Which end of the wire we are: the bench sends the `drive` fields and takes the `read` ones, its peer the other way
// round.
enum class Side : std::uint8_t { bench, peer };

struct ProtocolKind {
  ProtocolEntry entry;
  // The settings were checked by the entry's table and by its `fields`. Null for Side::peer where the settings do not
  // tell what the peer does (scpi).
  std::unique_ptr<Protocol> (*make)(const std::any& settings, Side side);
};
const std::vector<ProtocolKind>& protocol_table();

}  // namespace trackrod
