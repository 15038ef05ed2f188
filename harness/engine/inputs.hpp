#pragma once
// Where the engine's inputs come from. drivers/device implements it over the reader thread or, in a rehearsal, inline.

#include "harness/base/sample.hpp"

namespace trackrod {

class InputSink : public SampleSink {
 public:
  // The link of the device (index in the bench) is gone; `error` is the system's errno, 0 = the far side hung up.
  virtual void link_lost(std::uint16_t device, int error) noexcept = 0;
};

class Inputs {
 public:
  virtual ~Inputs() = default;
  // Hands everything that has arrived to the devices and their samples to `sink`. Neither blocks nor allocates.
  virtual void deliver(BenchTime now, InputSink& sink) noexcept = 0;
  // Arrivals that found no room since the run began.
  virtual std::uint64_t dropped() const noexcept = 0;
};

}  // namespace trackrod
