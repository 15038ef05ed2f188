#pragma once
// Reads a recording as its description says, from one end to the other; memory does not grow with its length.

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "harness/base/time.hpp"
#include "harness/recording/byte_source.hpp"
#include "harness/recording/description.hpp"

namespace trackrod {

// Where the contents go. The first error ends the reading.
class RecordingSink {
 public:
  virtual ~RecordingSink() = default;
  // A row or a frame of this time follows. Times never go back; they count from the recording's own zero, or from its
  // first row where they are dates.
  virtual Result<void> at(BenchTime when) = 0;
  // In the signal's unit; NaN: no value. `when` differs from the last at() where a device stamps by its own clock.
  virtual void sample(SignalIndex signal, BenchTime when, double value) = 0;
};

// What the reading came upon. Nothing is passed over in silence: all that gave no sample is counted here.
struct ReadCounts {
  std::uint64_t rows{0};  // or frames that a description knows
  std::uint64_t blank_lines{0};
  std::uint64_t no_values{0};
  std::uint64_t equal_times{0}, equal_line{0};  // rows at the time of the row before; line of the first
  std::uint64_t left_out{0};                    // rows that could not be read
  std::vector<std::string> left_out_first;      // why, of the first few
  std::uint64_t foreign_frames{0};              // of nobody described, or of another interface
  std::uint64_t error_frames{0}, remote_frames{0};
  std::vector<std::string> rejected;         // by device: what its protocol refused, in words
  bool marked{false};                        // a byte order mark stood in front
  bool no_offset{false};                     // dates without an offset were taken as UTC
  Duration stamp_step{};                     // of the last digit of the times, the finest there was
  std::optional<std::int64_t> wall_of_zero;  // ns since 1970-01-01 UTC of time zero; empty: not known
  std::vector<int> places;                   // by signal: most decimal places that its column had
  // For people: what a reader of the result must know. Empty where nothing was out of the ordinary.
  std::vector<std::string> notes() const;
};

// Error kinds: bad_input, with the line; storage; and what the sink says.
Result<void> read_recording(const ImportDescription& description, ByteSource source, ReadCounts& counts,
                            RecordingSink& sink);

// The kinds; chosen by the description's form.
Result<void> read_csv(const ImportDescription& description, const CsvForm& form, ByteSource source, ReadCounts& counts,
                      RecordingSink& sink);
Result<void> read_candump(const ImportDescription& description, const CandumpForm& form, ByteSource source,
                          ReadCounts& counts, RecordingSink& sink);

// Rows by their times and what is wrong with them, alike for every kind.
class RowKeeper {
 public:
  RowKeeper(const ImportDescription& description, ReadCounts& counts) : description_{description}, counts_{counts} {}
  // A row that cannot be read: told, or the error that ends the reading.
  Result<void> bad(std::uint64_t line, const std::string& why);
  // Takes a row's time; the reason when it goes back.
  std::optional<std::string> time(BenchTime when);

 private:
  const ImportDescription& description_;
  ReadCounts& counts_;
  std::optional<BenchTime> last_;
};

}  // namespace trackrod
