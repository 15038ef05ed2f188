#pragma once
// The fixed-rate loop around the engine.

#include <functional>

#include "harness/engine/engine.hpp"

namespace trackrod {

// Runs the engine to its end on absolute deadlines. A tick that comes too late is skipped, never made up for in a
// burst; the gap in the tick numbers tells. Blocks the calling thread. `before` is called ahead of each tick with its
// due time: in a rehearsal it moves the simulated world. May be empty.
void run_loop(Engine& engine, Duration tick, TimeSource& time, const std::function<void(BenchTime due)>& before = {});

}  // namespace trackrod
