#pragma once
// Follows a long run while its journal is written: works out each cycle, looks whether a limit that stops the repeat
// was passed, and leaves out the samples that the plan does not keep.

#include <memory>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "harness/capture/journal_capture.hpp"
#include "harness/capture/thin.hpp"
#include "harness/capture/writer.hpp"
#include "harness/cli/cycles_file.hpp"
#include "harness/cli/load.hpp"

namespace trackrod {

// Whether the plan asks for it: it keeps only a part of a repeat, or has a limit that stops one.
bool is_followed(const Loaded& loaded);
// The signals of which each pass of a kept repeat has a summary: those that the plan's criteria name.
std::vector<SignalIndex> summarised_signals(const Plan& plan);
// Of the journal of any run.
SegmentLimits segment_limits(const Loaded& loaded);

// For a normal thread of a process that is not in a hurry: it blocks and allocates. One thread at a time. It may be
// made anew at any time, and goes on from what is in the folder.
class Follower {
 public:
  // `loaded` must live longer. Error kind storage.
  static Result<Follower> create(const Loaded& loaded, const std::string& folder);

  // Takes the segments that are closed by now; with `ended`, all there are. The result: a sentence when a limit that
  // stops the repeat is found to be passed, once. Error kind storage.
  Result<std::optional<std::string>> take(bool ended);

 private:
  struct Pass {
    std::uint32_t number{0};
    BenchTime from{}, to{};
    bool complete{true}, closed{false};
  };
  Follower(const Loaded& loaded, const std::string& folder, CyclesFile file);
  void take_cycles(const JournalCapture& capture);
  std::vector<Pass> passes_in(const JournalCapture& capture, bool ended) const;
  void take_passes(const JournalCapture& capture, const std::vector<Pass>& passes);
  std::vector<TimeRange> to_leave_out(const JournalCapture& capture, const std::vector<Pass>& passes);
  std::optional<std::string> limit_passed(const CaptureView& capture);

  const Loaded& loaded_;
  std::string journal_;
  const TimelineItem* repeat_{nullptr};
  std::string first_step_;        // that each pass of the repeat begins with
  std::set<std::string> inside_;  // all steps of its passes
  CyclesFile file_;
  std::vector<std::set<std::uint32_t>> known_;  // by criterion: cycles in the book
  std::set<std::uint32_t> telling_;             // cycles that lack a value, or have one that they should not
  std::size_t done_{0};                         // segments that nothing more is done with
  std::vector<TimeRange> around_;               // of what happened
  std::optional<TimeRange> straddling_;         // left out, and not over with the segments that are done
  std::size_t judged_at_{0};                    // values there were when limits were last looked at
  bool told_{false};
};

}  // namespace trackrod
