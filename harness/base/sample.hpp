#pragma once
// One value of one signal at one instant: what devices give, the engine uses, and the capture keeps.

#include <cstdint>
#include <string>
#include <type_traits>

#include "harness/base/time.hpp"

namespace trackrod {

// Position of a signal in the bench's list; the same in every process and file of one run.
using SignalIndex = std::uint16_t;
inline constexpr SignalIndex no_signal = 0xFFFF;

struct Sample {
  BenchTime when{};                // on the bench clock
  double value{};                  // in the signal's declared unit, calibrated; NaN where the device said "no value"
  std::uint32_t uncertainty_ns{};  // half-width of `when`
  SignalIndex signal{no_signal};
  StampedBy by{StampedBy::harness};
};
static_assert(std::is_trivially_copyable_v<Sample> && sizeof(Sample) == 24);

// Where samples go. Implementations on the loop's path neither block nor allocate.
class SampleSink {
 public:
  virtual ~SampleSink() = default;
  virtual void put(const Sample& sample) noexcept = 0;
};

enum class Direction : std::uint8_t { read, drive };

// How a signal's sensor was calibrated: true = gain * reading + offset, each in the signal's unit.
struct Calibration {
  double gain{1.0};
  double offset{0.0};
  double standard_uncertainty{0.0};  // of a calibrated value, in the signal's unit
  double gain_uncertainty{0.0};      // standard, relative to a reading: part of the above that scales with it
  std::string date;                  // ISO 8601; empty when never calibrated
  std::string due;                   // ISO 8601; empty when it does not lapse
  std::string certificate;
};

// How much later a signal shows a motion than another one, as it was measured between the two.
struct Skew {
  std::string against;     // the other signal; empty: not measured
  Duration value{};        // by the stamps alone
  Duration uncertainty{};  // standard
  std::string date, due;   // ISO 8601; `due` empty when it does not lapse
  std::string used;        // what it was measured with, in words
};

// All that a reader of a capture needs to know of a signal. Stored with the capture.
struct SignalInfo {
  std::string name;
  std::string unit;  // as declared in the bench
  Direction direction{Direction::read};
  std::string device;
  std::string location;           // where it is measured, e.g. "hand wheel rim", "rack", "motor"
  std::string positive;           // what a positive value means, e.g. "left turn"
  bool bench_owned{false};        // measured by the bench, not by the unit under test
  double resolution{0.0};         // step between neighbouring values, in the unit; 0 = continuous
  double resolution_offset{0.0};  // value = resolution * count + resolution_offset
  double range_low{0.0}, range_high{0.0};
  double max_slew{0.0};  // unit per second; 0 = unlimited
  Duration delay{};      // of the sensor: the sample shows the world this much earlier; with a skew that of the other
                         // signal and the skew
  Duration delay_uncertainty{};  // standard
  Skew skew;
  Duration clock_asymmetry{};  // half-width: what an uneven path could shift every stamp of the device by
  std::string clock;           // devices that share a clock share its error
  Calibration calibration;
};

}  // namespace trackrod
