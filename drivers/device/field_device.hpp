#pragma once
// A device as the engine sees it: bytes of its link, meaning of its protocol, signals of the bench.

#include <array>
#include <cstddef>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "drivers/device/link_fields.hpp"
#include "drivers/link/link.hpp"
#include "drivers/protocol/can_error.hpp"
#include "drivers/protocol/protocol.hpp"
#include "harness/bench/bench.hpp"
#include "harness/engine/device.hpp"

namespace trackrod {

class FieldDevice final : public Device {
 public:
  // `index` is the device's position in the bench. The link must outlive the device; the bench need not. A signal whose
  // field the protocol does not have ends the program: the bench's reader has checked it.
  FieldDevice(const Bench& bench, std::size_t index, Link& link, std::unique_ptr<Protocol> protocol,
              Carries carries = Carries::datagrams);

  void arrived(std::span<const std::byte> bytes, Stamp stamp, SampleSink& samples) noexcept override;
  void look(BenchTime now, SampleSink& samples) noexcept override;
  bool set(SignalIndex signal, double value) noexcept override;
  bool prepare_list(SignalIndex signal, std::span<const ListPoint> points) noexcept override;
  bool start_list(SignalIndex signal) noexcept override;
  // What a full serial port did not take is kept and goes first the next time; nothing else is asked of the protocol
  // until then.
  Sent transmit(BenchTime now) noexcept override;
  int last_error() const noexcept override { return last_error_; }
  BenchTime last_heard() const noexcept override { return last_heard_; }
  std::string_view identity(std::string_view name) const noexcept override;
  void inspect() noexcept override { protocol_->inspect(); }
  bool inspected() const noexcept override { return protocol_->inspected(); }
  void tell(AccountSink& account) const noexcept override;
  bool settled(SignalIndex signal) const noexcept override;
  // What the controller says of a CAN bus goes before what the device says.
  std::uint32_t take_message() noexcept override;
  Window message_window() const noexcept override { return bus_spoke_ ? Window{} : protocol_->message_window(); }
  // What such a code means, in words; empty where the number says it all. Any thread, may allocate.
  std::string describe_message(std::uint32_t code) const;
  void disturb(const MessageFault& fault) noexcept override { protocol_->disturb(fault); }
  void leave(const MessageFault& fault) noexcept override { protocol_->leave(fault); }
  Disturbance disturbance(const MessageFault& fault) const noexcept override { return protocol_->disturbance(fault); }
  void remember(ProtocolMemory& memory) const noexcept override;
  // The terminator, or the rest, goes out at the start of the next transmit().
  void take_over(const ProtocolMemory& memory) noexcept override;

  // On the thread of the functions above.
  Protocol& protocol() noexcept { return *protocol_; }

 private:
  // value = gain * field value + offset
  struct Mapping {
    SignalIndex signal{no_signal};
    FieldIndex field{0};
    double gain{1.0}, offset{0.0};
    std::optional<double> no_value;
  };
  class Mapper;

  const Mapping* driven(SignalIndex signal) const noexcept;
  Sent send_rest(BenchTime now) noexcept;
  void keep(std::span<const std::byte> message) noexcept;

  Link& link_;
  std::unique_ptr<Protocol> protocol_;
  std::vector<Mapping> reads_;           // by field; a field may feed several signals
  std::vector<std::size_t> first_read_;  // of each field, and the end
  std::vector<Mapping> drives_;          // by signal
  std::vector<ListPoint> list_;          // of a signal, as values of its field
  LinkFigures figures_;
  std::array<std::byte, 2048> rest_{};  // of a message that was sent in part
  std::size_t rest_from_{0}, rest_size_{0};
  int last_error_{0};
  BenchTime last_heard_{};
  std::optional<CanBusWatch> bus_;  // of a link that carries CAN frames
  bool bus_spoke_{false};           // the message last taken was the bus' own
};

}  // namespace trackrod
