#pragma once
// What the engine asks of a device. drivers/device implements it; the engine knows nothing below it.

#include <array>
#include <cstdint>
#include <span>
#include <string_view>

#include "harness/base/account.hpp"
#include "harness/base/message_fault.hpp"
#include "harness/base/sample.hpp"
#include "harness/base/value_list.hpp"

namespace trackrod {

enum class Sent : std::uint8_t { nothing_due, sent, would_block, failed };

// What a device's protocol must remember across a change of process: alive counters, sequence numbers, where it stands
// in an exchange; and what is left of a message that went out in part, where only its rest ends it. Lives in memory
// shared by loop and keeper.
struct ProtocolMemory {
  std::array<std::uint32_t, 24> words{};
  std::array<std::byte, 288> rest{};
  std::uint32_t rest_size{0};
};

class Device : public Disturbable {
 public:
  // All of the below is called on one thread, returns at once, allocates nothing and never throws.

  // Bytes as they came from the link; values found in them go to `samples`.
  virtual void arrived(std::span<const std::byte> bytes, Stamp stamp, SampleSink& samples) noexcept = 0;
  // Once a tick, after what arrived: hands over what is known without a message, such as figures of the link.
  virtual void look(BenchTime /*now*/, SampleSink& /*samples*/) noexcept {}
  // The value to be sent from now on, in the signal's unit. Not finite: ignored, and false.
  virtual bool set(SignalIndex signal, double value) noexcept = 0;
  // Hands a course of the signal over, in its unit, for the device to run by itself later. False: it does not do that,
  // or not now. A plain value other than the one sent last takes it back.
  virtual bool prepare_list(SignalIndex /*signal*/, std::span<const ListPoint> /*points*/) noexcept { return false; }
  // It begins with what is sent next. False: the device has not taken it, or not yet. The next plain value ends it.
  virtual bool start_list(SignalIndex /*signal*/) noexcept { return false; }
  // Sends what is due at `now`. The result is the worst of what happened.
  virtual Sent transmit(BenchTime now) noexcept = 0;
  // errno of the last failed send.
  virtual int last_error() const noexcept = 0;
  // When the last intact message came; zero before the first.
  virtual BenchTime last_heard() const noexcept = 0;
  // What it said of itself under that name; empty until it was read. Valid until the next call.
  virtual std::string_view identity(std::string_view /*name*/) const noexcept { return {}; }
  // Asks it anew what it is, and what its fault memory holds.
  virtual void inspect() noexcept {}
  // It has said so since, or will not.
  virtual bool inspected() const noexcept { return true; }
  virtual void tell(AccountSink& /*account*/) const noexcept {}
  // True when `signal` was handed over completely (a setting that is read back counts when it was read back).
  virtual bool settled(SignalIndex signal) const noexcept = 0;
  // A message from the device that is no sample (such as an entry of its error queue): a code, 0 = none. Taking it
  // clears it.
  virtual std::uint32_t take_message() noexcept = 0;
  // When the message last taken came about, where the device was asked for it; no time: just now.
  virtual Window message_window() const noexcept { return {}; }

  // Hand-over between processes.
  virtual void remember(ProtocolMemory& memory) const noexcept = 0;
  // After the other process died in mid-message: drops output that is still queued and ends a half-sent message, or
  // sends its rest, so that the device takes the next one.
  virtual void take_over(const ProtocolMemory& memory) noexcept = 0;
};

}  // namespace trackrod
