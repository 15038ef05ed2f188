#pragma once
// The engine's inputs over a reader: its thread in real time, or read in the caller's thread.

#include <vector>

#include "drivers/link/reader.hpp"
#include "harness/engine/device.hpp"
#include "harness/engine/inputs.hpp"

namespace trackrod {

// Reader and devices are the caller's; link i belongs to device i.
class DeviceInputs final : public Inputs {
 public:
  enum class Reading : std::uint8_t { by_thread, here };
  DeviceInputs(Reader& reader, std::vector<Device*> devices, Reading reading)
      : reader_{reader}, devices_{std::move(devices)}, reading_{reading} {}

  void deliver(BenchTime now, InputSink& sink) noexcept override {
    if (reading_ == Reading::here) reader_.poll_inline(now);
    reader_.consume([&](const Arrival& arrival) noexcept {
      if (arrival.lost())
        sink.link_lost(arrival.link, arrival.error);
      else
        devices_[arrival.link]->arrived(arrival.data(), arrival.stamp, sink);
    });
    for (auto* device : devices_) device->look(now, sink);
  }
  std::uint64_t dropped() const noexcept override { return reader_.dropped(); }

 private:
  Reader& reader_;
  std::vector<Device*> devices_;
  Reading reading_;
};

}  // namespace trackrod
