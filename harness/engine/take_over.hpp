#pragma once
// Brings the bench to its safe state after the loop died or hung.

#include <vector>

#include "harness/engine/engine.hpp"
#include "harness/engine/shared_state.hpp"

namespace trackrod {

struct TakeOverParts {
  const Bench& bench;
  std::vector<Device*> devices;  // the taker's own, over the same descriptors
  Inputs& inputs;                // read inline: the loop no longer does
  TimeSource& time;
  RecordSink& records;
};

// The loop must be dead. Goes on from its testament: same setpoints, counters and half-sent messages dealt with; then
// the safe state's sequence, at the bench's tick. Blocks until every effect was seen or the bench's declared time is
// over; true when all were seen. Events carry b = 1: by the keeper.
bool take_over(const TakeOverParts& parts, const Testament& testament);

}  // namespace trackrod
