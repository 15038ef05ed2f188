#pragma once
// A plan worked out against a bench: what each driven signal does at each instant. Pure: no clock, no device, no file.
// Its size does not grow with how often a `repeat` repeats.

#include <memory>
#include <string>
#include <vector>

#include "harness/plan/plan.hpp"

namespace trackrod {

// A stretch of a driven value: value(t) = c0 + c1 t + c2 t^2 + c3 t^3 + envelope(t) * amplitude * sin(rate t + phase), t in
// seconds from the start of the piece; the envelope rises from 0 to 1 over the first fade_in seconds and falls over the last fade_out.
struct Piece {
  Duration length{};
  double c0{0}, c1{0}, c2{0}, c3{0};
  double amplitude{0}, rate{0}, phase{0};
  double fade_in{0}, fade_out{0};
  double at(Duration t) const noexcept;
};

// Pieces one after another; the last value is kept after the end. Loop-safe: at() neither allocates nor blocks.
struct Motion {
  std::vector<Piece> pieces;
  Duration length() const noexcept;
  double at(Duration t) const noexcept;
};

struct Channel {
  SignalIndex signal{no_signal};
  Motion motion;
};

struct TimelineStep {
  std::string name;
  std::uint32_t id{0};             // the same for every repetition
  Duration length{};               // of a wait: the longest it may take
  std::vector<Channel> channels;
  std::optional<Condition> until;  // a wait: the step ends when this holds; never: the run ends
  Duration hold_for{};             // a wait: for how long the condition must hold
};

// An element of the program: a step, or a body repeated. The first pass of a body starts from what came before it, the
// later ones from its own end, so both are kept.
struct TimelineItem {
  std::size_t step{0};                   // index into Timeline::steps(), when `count` is 0
  std::uint64_t count{0};                // repetitions
  std::vector<TimelineItem> first, again;
};

class Timeline {
 public:
  // Problems: names, units, limits of the bench that the plan would break. Null then.
  static std::unique_ptr<Timeline> compile(const Plan& plan, const Bench& bench, Problems& problems);

  const std::vector<TimelineStep>& steps() const { return steps_; }
  // Where the plan starts: each signal that it drives or names in "start", and the value the engine brings it to before
  // the first step (given in "start", else what the bench's arming leaves, else the signal's rest). Others are left alone.
  const std::vector<std::pair<SignalIndex, double>>& start() const { return start_; }
  Duration settle() const { return settle_; }
  // Waits count with their longest time.
  Duration length() const { return length_; }
  std::uint64_t step_count() const { return step_count_; }  // repetitions counted

  // Walks the program. next() neither allocates nor blocks.
  class Cursor {
   public:
    explicit Cursor(const Timeline& timeline);
    const TimelineStep* current() const { return current_; }  // null at the end
    std::uint32_t cycle() const;   // repetition of the innermost repeat, from 0
    void next() noexcept;

   private:
    struct Level {
      const std::vector<TimelineItem>* items;
      std::size_t position;
      const TimelineItem* repeat;
      std::uint64_t done;
    };
    void settle_on_step() noexcept;
    const Timeline* timeline_;
    std::vector<Level> levels_;
    const TimelineStep* current_{nullptr};
  };

 private:
  friend class TimelineCompiler;
  std::vector<TimelineStep> steps_;
  std::vector<TimelineItem> program_;
  std::vector<std::pair<SignalIndex, double>> start_;
  Duration settle_{}, length_{};
  std::uint64_t step_count_{0};
  std::size_t depth_{1};
};

}  // namespace trackrod
