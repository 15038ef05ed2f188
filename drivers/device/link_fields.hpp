#pragma once
// Figures of a device's own link as fields that every device has, whatever its protocol: a bench names them in a read
// signal, and a plan's interlock or criterion then names that signal.

#include <optional>
#include <string>
#include <vector>

#include "drivers/link/link.hpp"
#include "drivers/protocol/protocol.hpp"
#include "harness/bench/bench.hpp"

namespace trackrod {

// "link.frames", "link.bytes", ...: for Catalogue::device_fields.
const std::vector<FieldInfo>& link_fields();
bool is_link_field(const std::string& field);

// The signals of one device that show its link.
class LinkFigures {
 public:
  // `index` is the device's position in the bench, which need not outlive this.
  LinkFigures(const Bench& bench, std::size_t index);

  // Puts the age of the newest message at every call, the rest when it changed and at least every 0.1 s. What has no
  // value yet (an age before the first message) is not put. Allocates nothing.
  void look(BenchTime now, BenchTime last_heard, const LinkCounters& link, const ProtocolCounters& protocol,
            SampleSink& samples) noexcept;

 private:
  struct Shown {
    SignalIndex signal;
    std::size_t figure;  // line of the table of figures
    double gain, offset;
    std::optional<double> last{};
    BenchTime put_at{};
  };
  void measure_cycle(BenchTime now, BenchTime last_heard, std::uint64_t messages) noexcept;

  std::vector<Shown> shown_;
  BenchTime cycle_due_{}, cycle_from_{};
  std::uint64_t messages_from_{0};
  std::optional<Duration> cycle_;
};

}  // namespace trackrod
