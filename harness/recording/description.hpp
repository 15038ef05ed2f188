#pragma once
// The description of a recording that was made elsewhere: how its file is read, and which signals it holds. A JSON
// file, checked as bench and plan files are.

#include <memory>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "drivers/protocol/frames_settings.hpp"
#include "harness/bench/bench.hpp"

namespace trackrod {

// A column by the text at its head, or by its number from 1 on.
struct ColumnRef {
  std::string name;  // empty: by number
  std::size_t number{0};
  Where at;
};

enum class TimeForm : std::uint8_t {
  elapsed,  // a number of units since a zero of the recording's own
  epoch,    // a number of units since 1970-01-01 UTC
  iso8601   // date and time of day
};

struct CsvForm {
  char separator{','}, decimal{'.'};
  std::uint64_t lines_above{0};  // of text, before the heads or the first row
  bool heads{true};              // the first record names the columns
  std::optional<ColumnRef> time;
  TimeForm time_form{TimeForm::elapsed};
  std::int64_t time_unit_ns{1'000'000'000};
  Duration every{};                              // without a time column: from row to row
  std::vector<std::string> no_value{"", "NaN"};  // texts that stand for "no value"
  std::vector<ColumnRef> columns;                // by signal
};

struct CandumpForm {
  bool deltas{false};     // each stamp counts from the line before
  std::string interface;  // only its frames; empty: all
  struct Device {
    std::string name;
    FramesSettings frames;
  };
  std::vector<Device> devices;  // SignalSpec::device is a position in it
};

struct ImportDescription {
  std::string name, description, file;
  std::string unit_name, unit_serial;  // under test; may be empty
  std::vector<SignalSpec> signals;     // position = SignalIndex; `field`: of a frame
  std::optional<Duration> gap;         // longer without a row or frame is a gap; empty: by the usual interval
  std::optional<Duration> stamp_half_width;
  bool leaves_out_bad_rows{false};  // else the first one refuses the file
  std::variant<CsvForm, CandumpForm> form;
};

// Checks and resolves; null when there are problems. Pure.
std::unique_ptr<ImportDescription> parse_description(const std::string& text, const std::string& file,
                                                     Problems& problems);
// The JSON Schema of such files, for editors.
std::string import_schema();

}  // namespace trackrod
