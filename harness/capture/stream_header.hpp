#pragma once
// What the journal and the archive say about a run before its first sample: enough to read all that follows without the
// bench and plan files.

#include <cstdint>
#include <string>
#include <vector>

#include "harness/base/error.hpp"
#include "harness/base/sample.hpp"

namespace trackrod {

// One instant on both clocks, read together.
struct ClockPair {
  BenchTime bench{};
  std::int64_t wall_ns{0};  // since 1970-01-01 UTC
};

struct StepName {
  std::uint32_t id{0};  // as in step events
  std::string name;
};

struct StreamHeader {
  std::string run_id;
  std::string config_hash;          // over the bench and plan files
  Duration tick{};                  // period of the loop
  ClockPair clock;                  // at the start of the recording
  std::vector<SignalInfo> signals;  // position = SignalIndex
  std::vector<StepName> steps;
  std::vector<std::string> devices;     // position = device number in events and notes
  std::vector<std::string> interlocks;  // position = interlock number in trip events
  std::vector<std::string> faults;      // position = fault number in events
};

// The name of the step, or "step 7" for one that the header does not list.
std::string step_name(const StreamHeader& header, std::uint32_t id);

// As docs/formats/journal.md describes. A number that is not finite becomes null, and null becomes NaN.
std::string to_json(const StreamHeader& header);
// Error kind bad_frame when the text is no stream header.
Result<StreamHeader> stream_header_from_json(const std::string& text);

}  // namespace trackrod
