#pragma once
// The reading side of a capture: what scores and reports see, whether it comes from the journal, the HDF5 archive or
// memory.

#include <algorithm>
#include <functional>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "harness/base/error.hpp"
#include "harness/base/sample.hpp"
#include "harness/capture/record.hpp"

namespace trackrod {

struct Point {
  BenchTime when{};
  double value{};  // NaN: the device said "no value"
  std::uint32_t uncertainty_ns{};
  StampedBy by{StampedBy::harness};
};

// One execution of a named step.
struct Span {
  std::string step;
  std::uint32_t cycle{0};
  BenchTime from{}, to{};
  bool complete{true};  // false: cut short by a trip, a stop or the end of the recording
  bool kept{true};      // false: some of its samples were left out
};

// A stretch whose samples and ticks were left out on purpose, once what is wanted of them was worked out.
struct LeftOut {
  BenchTime from{}, to{};
  std::uint64_t samples{0}, ticks{0}, missed{0};  // missed: ticks that did not run between those
  std::uint32_t first_tick{0}, last_tick{0};      // their numbers, when there are ticks
  Duration late_max{}, work_max{}, input_age_max{};

  // The neighbour behind it becomes part of it.
  void absorb(const LeftOut& next) {
    to = std::max(to, next.to);
    from = std::min(from, next.from);
    samples += next.samples;
    if (next.ticks == 0) return;
    if (ticks == 0) first_tick = next.first_tick;
    missed += next.missed;
    if (ticks > 0 && next.first_tick > last_tick) missed += next.first_tick - last_tick - 1;
    ticks += next.ticks;
    last_tick = next.last_tick;
    late_max = std::max(late_max, next.late_max);
    work_max = std::max(work_max, next.work_max);
    input_age_max = std::max(input_age_max, next.input_age_max);
  }
};

// What is known about how well the run kept time.
struct TimingQuality {
  Duration tick{};
  std::uint64_t ticks{0};                     // that ran
  std::uint64_t missed{0};                    // that did not
  std::vector<std::uint64_t> late_histogram;  // ticks by lateness, in bins of late_bin
  Duration late_bin{};
  Duration late_p50{}, late_p99{}, late_max{};
  Duration work_p50{}, work_p99{}, work_max{};
  Duration input_age_max{};
};

// A stretch of time for which records are missing, and why.
struct Gap {
  BenchTime from{}, to{};
  std::uint64_t count{0};
  std::string why;
};

// Text beside the events: what a device said, what the operator wrote.
struct Note {
  static constexpr std::uint32_t no_device = 0xFFFFFFFF;
  BenchTime when{};
  std::uint32_t device{no_device};
  std::string text;
};

class CaptureView {
 public:
  virtual ~CaptureView() = default;
  virtual const std::vector<SignalInfo>& signals() const = 0;
  // Spans of all steps, in time order.
  virtual const std::vector<Span>& spans() const = 0;
  virtual const std::vector<Event>& events() const = 0;
  virtual const std::vector<Gap>& gaps() const = 0;
  virtual const TimingQuality& timing() const = 0;
  virtual const std::vector<Note>& notes() const {
    static const std::vector<Note> none;
    return none;
  }
  // In time order.
  virtual const std::vector<LeftOut>& left_out() const {
    static const std::vector<LeftOut> none;
    return none;
  }
  virtual BenchTime begin() const = 0;
  virtual BenchTime end() const = 0;
  // All samples of the signal with from <= when < to, in the order of their stamps.
  virtual Result<std::vector<Point>> points(SignalIndex signal, BenchTime from, BenchTime to) const = 0;

  // Stamps that samples of these signals share; one or more.
  using StampsVisitor = std::function<void(std::span<const SignalIndex>, std::span<const BenchTime>)>;
  // The stamps of every signal, in pieces, each signal's in their order but for samples that came late; one pass over
  // the record where it can be.
  virtual Result<void> each_stamps(BenchTime from, BenchTime to, const StampsVisitor& take) const {
    for (std::size_t i = 0; i < signals().size(); ++i) {
      const auto index = static_cast<SignalIndex>(i);
      const auto of_one = points(index, from, to);
      if (!of_one) return tl::unexpected{of_one.error()};
      std::vector<BenchTime> when;
      when.reserve(of_one->size());
      for (const auto& point : *of_one) when.push_back(point.when);
      if (!when.empty()) take({&index, 1}, when);
    }
    return {};
  }

  std::optional<SignalIndex> find(const std::string& name) const {
    for (std::size_t i = 0; i < signals().size(); ++i)
      if (signals()[i].name == name) return static_cast<SignalIndex>(i);
    return std::nullopt;
  }
};

}  // namespace trackrod
