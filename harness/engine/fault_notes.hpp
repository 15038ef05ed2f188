#pragma once
// What is told of the faults of a run while they come and go.

#include <cstddef>

#include "harness/base/time.hpp"

namespace trackrod {

// What happened to a fault (index into Bench::faults).
class FaultNotes {
 public:
  virtual ~FaultNotes() = default;
  // From now on what is sent is wrong.
  virtual void made(std::size_t fault) noexcept = 0;
  // The bench saw it, `after` it was made, in a sample of that instant.
  virtual void shown(std::size_t fault, BenchTime when, Duration after) noexcept = 0;
  // It was not seen in time, or was over before it was.
  virtual void not_shown(std::size_t fault) noexcept = 0;
  // Its trigger did not come, or the step was over first.
  virtual void not_made(std::size_t fault) noexcept = 0;
  // Of messages: the first wrong one was due or went out at that instant, `after` the fault was made.
  virtual void took_hold(std::size_t fault, BenchTime when, Duration after) noexcept = 0;
  virtual void removed(std::size_t fault) noexcept = 0;
  // The bench no longer sees it, `after` it was removed, in a sample of that instant.
  virtual void gone(std::size_t fault, BenchTime when, Duration after) noexcept = 0;
  // Of messages: the first right one went out at that instant, `after` the fault was removed.
  virtual void let_go(std::size_t fault, BenchTime when, Duration after) noexcept = 0;
  // It is still seen, longer after it was removed than it may be: a relay that hangs.
  virtual void remains(std::size_t fault, double value) noexcept = 0;
};

}  // namespace trackrod
