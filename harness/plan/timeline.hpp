#pragma once
// A plan worked out against a bench: what each driven signal does at each instant. Pure: no clock, no device, no file.
// Its size does not grow with how often a `repeat` repeats.

#include <limits>
#include <memory>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "harness/plan/motion.hpp"
#include "harness/plan/plan.hpp"

namespace trackrod {

// A fault that is made while a step runs.
struct Injection {
  std::size_t fault{0};           // index into Bench::faults
  Duration from{};                // after the step began: it is made, or begins to wait for `when`
  std::optional<Condition> when;  // made when this turns true, having been false; never: it is not made
  Duration within{};              // how long it waits for `when`
  Duration lasts{};
};

// A pulse of the road that the load model gets while a step runs.
struct LaidPulse {
  Duration from{};     // after the step began
  double force{0.0};   // N at the vehicle's rack at its greatest, positive to the left
  double length{0.0};  // m of road
};

// Whether the load model has the rack. `leaving`: its load runs to zero.
enum class LoadUse : std::uint8_t { none, on, leaving };

struct TimelineStep {
  std::string name;
  std::uint32_t id{0};  // the same for every repetition
  Duration length{};    // at least one tick; of a wait: the longest it may take
  std::vector<Channel> channels;
  std::vector<Injection> injections;
  LoadUse load{LoadUse::none};
  std::optional<Motion> grip;  // of the road under the load model; none: it stays
  std::vector<LaidPulse> pulses;
  std::optional<Condition> until;    // a wait: the step ends when this holds; never: the run ends
  Duration hold_for{};               // a wait: for how long the condition must hold
  std::optional<Condition> watched;  // in a try of a seek: it is survived while this holds
  bool implausible_meant{false};     // what no vehicle does is done on purpose
};

// The count of a repeat that ends by time, or when it is told to.
inline constexpr std::uint64_t without_end = std::numeric_limits<std::uint64_t>::max();

// What is kept of the samples of a long repeat: those before and after what happens, and whole passes now and then.
struct Keep {
  Duration before{std::chrono::seconds{10}}, after{std::chrono::seconds{5}};
  Duration whole_every{
      std::chrono::minutes{30}};  // from the begin of one whole pass to that of the next; 0: only the first
};

// Of a repeat of which earlier runs have made a part.
struct MadeBefore {
  std::uint64_t passes{0};
  Duration spent{};  // on them
};

// An element of the program: a step, a body repeated, or a body sought through. The first pass of a repeated body
// starts from what came before it, the later ones from its own end, so both are kept. A sought body ends where it
// began, and so does a check.
struct TimelineItem {
  std::size_t step{0};                            // index into Timeline::steps(), when `count` is 0
  std::uint64_t count{0};                         // repetitions, or tries
  std::vector<TimelineItem> first, again;         // of a repeat
  std::vector<std::vector<TimelineItem>> levels;  // of a seek, from easy to hard: the same steps with other values
  // Of a repeat at the top of the program.
  Duration lasts{};              // no pass begins after that time; 0: no bound
  std::uint64_t check_every{0};  // passes after which `check` is run, each time
  std::vector<TimelineItem> check;
  std::optional<Keep> keep;      // none: every sample
  std::uint64_t made_before{0};  // of `count`, passes that earlier runs have made
};

// The first step of an element, where it begins.
const TimelineStep& first_step(const TimelineItem& item, const std::vector<TimelineStep>& steps);

// The names of all steps in a part of a program.
std::set<std::string> steps_inside(const std::vector<TimelineItem>& items, const std::vector<TimelineStep>& steps);

// Where every driven signal is once the bench is armed and before a plan moves it, by SignalIndex; 0 for read ones.
std::vector<double> armed_values(const Bench& bench);
// How fast a signal that has a max_slew is brought to its start value, in its unit per second: no faster than that, and
// through its whole range in no less than 5 s.
double approach_rate(const SignalInfo& signal) noexcept;

class Timeline {
 public:
  // Problems: names, units, limits of the bench that the plan would break. Null then.
  static std::unique_ptr<Timeline> compile(const Plan& plan, const Bench& bench, Problems& problems);

  // Leaves out all before the first element of the program that is the step `name` or has it inside: a repeat or a seek
  // begins anew, a road has its whole way in. Each signal starts where that element finds it. Steps keep their ids.
  // `made`: of that element, which is a repeat; its passes are counted from there on. Error kind bad_input: no such
  // step, or one in the middle of a road; nothing is left of the repeat.
  Result<void> begin_with(const std::string& name, const MadeBefore& made = {});

  const std::vector<TimelineStep>& steps() const { return steps_; }
  const std::vector<TimelineItem>& program() const { return program_; }
  // Where the plan starts: each signal that it drives or names in "start", and the value the engine brings it to before
  // the first step (given in "start", else what the bench's arming leaves, else the signal's rest). Others are left
  // alone.
  const std::vector<std::pair<SignalIndex, double>>& start() const { return start_; }
  // How long they are held before the first step.
  Duration settle() const { return settle_; }
  // From the first step on. Waits count with their longest time; a repeat without end with one pass.
  Duration length() const { return length_; }
  std::uint64_t step_count() const { return step_count_; }  // repetitions counted, likewise
  bool is_endless() const { return endless_; }              // some repeat ends only when it is told to

  // Walks the program. next() neither allocates nor blocks; neither does copying a cursor back.
  class Cursor {
   public:
    explicit Cursor(const Timeline& timeline);
    const TimelineStep* current() const { return current_; }  // null at the end
    // Repetition of the innermost repeat or seek, or which of the checks of the innermost repeat it is; from 0.
    std::uint32_t cycle() const;
    // The repeat at the top of the program in which the cursor is; null in none.
    const TimelineItem* repeat() const noexcept;
    // How many passes of that repeat are begun by here. They are all there will be once end_repeat() was told so.
    std::uint64_t passes() const noexcept;
    void end_repeat(const TimelineItem& repeat, std::uint64_t passes) noexcept;
    // What the present try of the innermost seek was to survive did not hold. Where the cursor goes then depends on it,
    // but neither the step that comes next nor its cycle does.
    void lost() noexcept;
    void next() noexcept;

   private:
    struct Level {
      const std::vector<TimelineItem>* items{nullptr};
      std::size_t position{0};
      const TimelineItem* repeat{nullptr};
      std::uint64_t done{0};
      std::size_t rung{0};  // of a seek: the level that is tried
      bool lost{false};
      bool checking{false};  // of a repeat: in its check
    };
    void settle_on_step() noexcept;
    void begin_pass_or_leave(Level& level) noexcept;
    static void choose(Level& level) noexcept;
    const Timeline* timeline_;
    std::vector<Level> levels_;  // as many as the program is deep
    std::size_t level_{0};       // the innermost in use
    const TimelineStep* current_{nullptr};
    const TimelineItem* ending_{nullptr};  // a repeat that was told to end
    std::uint64_t last_pass_{0};           // with so many passes
  };

 private:
  std::vector<TimelineStep> steps_;
  std::vector<TimelineItem> program_;
  std::vector<std::pair<SignalIndex, double>> start_;
  Duration settle_{}, length_{};
  std::uint64_t step_count_{0};
  std::size_t depth_{1};
  bool endless_{false};
};

}  // namespace trackrod
