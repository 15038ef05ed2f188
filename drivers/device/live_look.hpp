#pragma once
// A look at a bench as it is now: opens its links, listens, asks what may be asked, and drives nothing.

#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "drivers/device/field_device.hpp"
#include "drivers/link/link.hpp"
#include "harness/bench/bench.hpp"

namespace trackrod {

// Times between events that should come evenly.
struct Spacing {
  std::size_t count{0};  // of the times between
  Duration least{}, mean{}, most{};
  void add(Duration d);

 private:
  Duration sum_{};
};

struct DeviceLook {
  std::string link;      // as it describes itself; the device's name for it when it could not be opened
  std::string trouble;   // why the link could not be opened, or was lost meanwhile; else empty
  std::string remark;    // how it was opened, where that matters
  std::string identity;  // as the device tells it; empty when its protocol does not ask
  bool alive{false};     // an intact message came within the device's timeout, at the end of the look
  ProtocolCounters counters;
  std::uint64_t dropped_by_kernel{0}, foreign{0};
  Spacing cycle;                 // from one intact arrival to the next, by their stamps
  std::optional<Duration> echo;  // CAN: longest from handing a frame over to its being on the bus
  Spacing answer;  // from a message of ours to the next intact arrival; none where the device sends unasked
  std::vector<StampClock> clocks;     // of a device that stamps its own samples
  std::vector<std::string> messages;  // that are no samples: errors told by the device
};

struct SignalLook {
  std::optional<Sample> last;
  Spacing cycle;
  std::uint64_t missing{0};  // samples that were "no value"
};

struct BenchLook {
  std::vector<DeviceLook> devices;  // as in the bench
  std::vector<SignalLook> signals;  // as in the bench; empty for driven ones
};

// A look that goes on for as long as its user wants. Opens each link by itself, so that one that fails does not hide
// the others. Sends only questions. One thread.
class LiveWatch {
 public:
  LiveWatch(const Bench& bench, TimeSource& time);
  // Over links that are open already (one a device, null where there is none), as those of a rehearsal.
  LiveWatch(const Bench& bench, std::vector<std::unique_ptr<Link>> links, TimeSource& time);
  LiveWatch(LiveWatch&&) noexcept;
  LiveWatch& operator=(LiveWatch&&) = delete;
  ~LiveWatch();
  // Sleeps until the next tick, after `before`; takes what arrived, and asks what is due. Blocks for a millisecond.
  void step(const std::function<void(BenchTime)>& before = {});
  const BenchLook& look() const;
  // Of the devices too.
  BenchLook sum_up();

 private:
  struct Parts;
  std::unique_ptr<Parts> parts_;
};

// A look of `how_long`. Blocks. In virtual time the second form, whose `before` is called at each tick.
BenchLook look_at(const Bench& bench, Duration how_long, TimeSource& time);
BenchLook look_at(const Bench& bench, std::vector<std::unique_ptr<Link>> links, Duration how_long, TimeSource& time,
                  const std::function<void(BenchTime)>& before);

}  // namespace trackrod
