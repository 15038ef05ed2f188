#pragma once
// Bit-packed frames, sent in cycles, in datagrams or in a stream of bytes.

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "drivers/protocol/e2e_receiver.hpp"
#include "drivers/protocol/frame_layout.hpp"
#include "drivers/protocol/protocol.hpp"
#include "drivers/protocol/tampering.hpp"

namespace trackrod {

// Finds frames in what arrives.
class FrameReceiver {
 public:
  FrameReceiver(const NamedFrames& frames, const std::vector<FieldInfo>& fields, bool stream,
                const std::optional<Located<Framing>>& framing);
  // True when a frame was taken. A repeated frame is none: a device whose alive counter stands still is not alive.
  bool take(std::span<const std::byte> bytes, Stamp stamp, FieldSink& sink, ProtocolCounters& counters) noexcept;
  std::optional<BenchTime> quiet(BenchTime now, FieldSink& sink, ProtocolCounters& counters) noexcept;
  // Of the frames with a CAN identifier.
  std::vector<CanFilter> identifiers() const;
  std::vector<StampClock> clocks() const;

 private:
  struct Kind {
    std::string name;
    FrameLayout layout;
    bool seen{false};
    std::uint64_t last{0};              // alive counter of the last frame
    std::optional<ClockModel> clock{};  // of a device that stamps
    std::optional<E2eReceiver> e2e{};
    FieldIndex state_field{0}, status_field{0};  // of `e2e`, where has_fields
    bool has_fields{false};
    BenchTime checked{};  // the last check, of a frame or of its absence
  };
  class Messages;
  bool datagram(std::span<const std::byte> bytes, Stamp stamp, FieldSink& sink, ProtocolCounters& counters) noexcept;
  bool can_frame(std::span<const std::byte> bytes, Stamp stamp, FieldSink& sink, ProtocolCounters& counters) noexcept;
  std::size_t stream(std::span<const std::byte> bytes, Stamp stamp, FieldSink& sink, ProtocolCounters& counters,
                     bool& taken) noexcept;
  bool deliver(Kind& kind, std::span<const std::byte> frame, Stamp stamp, FieldSink& sink,
               ProtocolCounters& counters) noexcept;
  // A frame of this kind whose checksum is wrong.
  void reject(Kind& kind, std::span<const std::byte> frame, Stamp stamp, FieldSink& sink,
              ProtocolCounters& counters) noexcept;
  bool is_new(Kind& kind, std::span<const std::byte> frame, ProtocolCounters& counters) noexcept;
  bool check_protection(Kind& kind, std::span<const std::byte> frame, Stamp stamp, FieldSink& sink,
                        ProtocolCounters& counters) noexcept;
  void watch_silence(Kind& kind, BenchTime now, FieldSink& sink, ProtocolCounters& counters) noexcept;
  void tell_state(const Kind& kind, E2eState before, Stamp stamp, FieldSink& sink, ProtocolCounters& counters) noexcept;
  // The kind whose match fits; null when none does.
  Kind* find(std::span<const std::byte> bytes) noexcept;

  std::vector<Kind> kinds_;
  bool is_stream_;
  bool is_can_{false};
  std::size_t shortest_{0}, longest_{0}, match_end_{0};
  std::optional<StreamFramer> framer_;
  std::vector<std::byte> kept_;  // stream: room for two frames, of which kept_size_ bytes wait for the rest
  std::size_t kept_size_{0};
  std::size_t skipped_{0};  // stream: bytes since the last good frame
};

// Sends frames at their times.
class FrameSender {
 public:
  FrameSender(const NamedFrames& frames, const std::vector<FieldInfo>& fields,
              const std::optional<Located<Framing>>& framing, bool together);
  void set(FieldIndex field, double value, ProtocolCounters& counters) noexcept;
  std::span<const std::byte> due(BenchTime now) noexcept;
  bool settled(FieldIndex field) const noexcept;
  // Of the frames with a CAN identifier.
  std::vector<CanFilter> identifiers() const;
  void save(std::span<std::uint32_t> words) const noexcept;
  void load(std::span<const std::uint32_t> words) noexcept;
  // Faults of its frames, as Protocol has them. A frame that is thrown away goes its way otherwise: it counts.
  void expect(const MessageFault& fault);
  void disturb(const MessageFault& fault) noexcept;
  void leave(const MessageFault& fault) noexcept;
  Disturbance disturbance(const MessageFault& fault) const noexcept;
  // What stands behind each message; may be empty.
  std::span<const std::byte> delimiter() const noexcept { return delimiter_; }

 private:
  struct Page {
    std::vector<std::byte> bytes;  // the values of the fields live here
    bool changed{false};           // since it was sent
  };
  struct Kind {
    FrameLayout layout;
    std::size_t longest{layout.length()};  // bytes, with a fault too
    std::vector<Page> pages{};             // one for each value of the selector; sent in turns
    std::size_t turn{0};                   // the page that is next
    std::uint32_t counter{0};              // of the next frame
    BenchTime next{};    // due time, without a cycle that of the last frame; the epoch before the first one
    BenchTime last{};    // when one was sent
    bool in_use{false};  // nothing is sent before the first value is set
    Tampering tampering{};
  };
  struct Slot {  // where a field's value goes
    std::uint16_t frame{0}, field{0};
    bool is_sent{false}, known{false};
  };
  bool is_due(Kind& kind, BenchTime now) noexcept;
  // It is its turn: its next one is due a cycle later, whatever becomes of it.
  void take_turn(Kind& kind, BenchTime now) noexcept;
  // The frame with that counter, on the page whose turn it is.
  std::span<std::byte> write(Kind& kind, std::uint32_t counter, BenchTime now) noexcept;
  std::span<std::byte> write_next(Kind& kind, BenchTime now) noexcept;
  // The bytes of the frame, as sent now.
  std::span<std::byte> send(Kind& kind, BenchTime now) noexcept;
  // The same of a frame with a fault; empty when none goes out.
  std::span<const std::byte> send_disturbed(Kind& kind, BenchTime now) noexcept;
  std::span<const std::byte> send_off_beat(Kind& kind, BenchTime now) noexcept;
  template <class Kinds, class Do>
  static void each_of(Kinds& kinds, const MessageFault& fault, Do act);

  std::vector<Kind> kinds_;
  std::vector<Slot> slots_;  // by FieldIndex
  bool together_;
  std::vector<std::byte> delimiter_;
  std::vector<std::byte> out_;  // a frame with its delimiter, or frames that go together
  Duration gap_{}, spacing_{};  // by idle gap
  BenchTime not_before_{};
  bool gap_owed_{false};  // another process may have died in mid-message
  std::array<std::byte, greatest_can_datagram> can_datagram_{};
};

class Frames final : public Protocol {
 public:
  Frames(const FramesSettings& settings, Side side);

  const std::vector<FieldInfo>& fields() const noexcept override { return fields_; }
  bool on_bytes(std::span<const std::byte> bytes, Stamp stamp, FieldSink& sink) noexcept override;
  std::optional<BenchTime> on_quiet(BenchTime now, FieldSink& sink) noexcept override;
  void set(FieldIndex field, double value) noexcept override;
  std::span<const std::byte> due(BenchTime now) noexcept override;
  bool settled(FieldIndex field) const noexcept override;
  std::uint32_t take_message() noexcept override { return 0; }
  std::vector<StampClock> clocks() const override { return receiver_.clocks(); }
  std::vector<CanFilter> wanted() const override { return receiver_.identifiers(); }
  std::vector<CanFilter> sends() const override { return sender_.identifiers(); }
  const ProtocolCounters& counters() const noexcept override { return counters_; }
  void expect(const MessageFault& fault) override { sender_.expect(fault); }
  void disturb(const MessageFault& fault) noexcept override { sender_.disturb(fault); }
  void leave(const MessageFault& fault) noexcept override { sender_.leave(fault); }
  Disturbance disturbance(const MessageFault& fault) const noexcept override { return sender_.disturbance(fault); }
  void save(std::span<std::uint32_t> words) const noexcept override;
  void load(std::span<const std::uint32_t> words) noexcept override;
  // Without a delimiter none: the next whole frame follows within a cycle, and a receiver finds it.
  std::span<const std::byte> terminator() const noexcept override { return sender_.delimiter(); }

 private:
  std::vector<FieldInfo> fields_;
  FrameReceiver receiver_;
  FrameSender sender_;
  ProtocolCounters counters_;
};

}  // namespace trackrod
