#pragma once
// The description of a recording as it is written: each value checked for itself and carrying its place.

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "harness/bench/written.hpp"
#include "harness/recording/description.hpp"

namespace trackrod::written {

// What a signal of any recording says.
struct RecordedSignal {
  Located<Unit> unit;
  std::optional<Located<std::vector<LocatedQuantity>>> range;
  std::string location, positive;
  bool bench_owned{false};
  std::optional<Delay> delay;
  std::optional<LocatedQuantity> resolution;
  std::optional<Calibration> calibration;
  std::optional<Located<Unit>> raw_unit;  // of the number in the file
};
struct ColumnSignal : RecordedSignal {
  ColumnRef column;
};
struct FrameSignal : RecordedSignal {
  std::optional<Name> device;
  Name field;
};

struct RecordedUnit {
  std::string name, serial;
};
struct Description {
  Name name;
  std::string description;
  RecordedUnit unit;
  std::optional<Duration> gap, stamp_uncertainty;
  bool leaves_out{false};
};
struct CsvTime {
  std::optional<ColumnRef> column;
  std::optional<Located<TimeForm>> form;
  std::optional<Located<Unit>> unit;
  std::optional<Located<Duration>> every;
};
struct CsvDescription : Description {
  char separator{','};
  Located<char> decimal{'.', {}};
  std::uint64_t lines_above{0};
  bool heads{true};
  Located<CsvTime> time;
  std::optional<std::vector<std::string>> no_value;
  Located<Dictionary<ColumnSignal>> signals;
};
struct CandumpDescription : Description {
  bool deltas{false};
  std::string interface;
  Located<Dictionary<Chosen>> frames;
  Located<Dictionary<FrameSignal>> signals;
};

// The kinds of recordings, told by the key "kind".
const std::vector<KindEntry>& recording_kinds();

}  // namespace trackrod::written
