#pragma once
// Interlocks proven at the start of a shift.

#include <functional>
#include <string>

#include "drivers/device/live_look.hpp"
#include "harness/cli/commands.hpp"
#include "harness/cli/load.hpp"

namespace trackrod {

// `check --shift`: has each interlock that needs it broken by a person and sees it, or confirmed, and writes the proofs
// into `runs`. Opens the bench's links, listens, drives nothing. Blocks for a person. Gives the exit status: all_pass
// when every one is proven, else inconclusive.
int prove_shift(const Loaded& loaded, const ShiftOptions& options, const std::string& runs, const std::string& by,
                Console& console);

// Whether a condition was seen to hold, then to be broken by a value, then to hold again. A value that is missing
// breaks nothing here: a wire that is off shows the same. Pure.
class Exercise {
 public:
  explicit Exercise(const Condition& condition) : condition_{condition} {}
  enum class Stage : std::uint8_t { to_hold, to_break, to_hold_again, done };
  Stage stage() const { return stage_; }
  void see(double value);

 private:
  Condition condition_;
  Stage stage_{Stage::to_hold};
};

}  // namespace trackrod
