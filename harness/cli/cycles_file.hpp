#pragma once
// cycles.jsonl: what was worked out of each cycle while a run went on, one JSON object a line. docs/run-folder.md.

#include <optional>
#include <set>
#include <string>
#include <utility>
#include <vector>

#include "harness/capture/files.hpp"
#include "harness/cli/evaluate.hpp"

namespace trackrod {

// Of one signal over a pass of a repeat, in the signal's unit; samples without a value do not count.
struct SignalSummary {
  std::string name;
  double mean{0.0}, least{0.0}, greatest{0.0};
  std::uint64_t samples{0};
};

struct PassRow {
  std::uint32_t pass{0};  // from 0
  BenchTime from{}, to{};
  bool complete{true};
  bool whole{false};  // every sample of it is kept
  std::vector<SignalSummary> signals;
};

struct ValueRow {
  std::size_t criterion{0};  // index into Plan::criteria
  CycleValue value;
};

// The values by criterion. A file that is not there: an empty book. A last line that was cut off does not count. Error
// kind storage, also when a line in the middle does not read.
Result<CycleBook> read_cycle_book(const std::string& path, std::size_t criteria);

// Grows by whole lines. One process at a time.
class CyclesFile {
 public:
  // As read_cycle_book(); makes the file when it is missing, and takes away a last line that was cut off.
  static Result<CyclesFile> open(const std::string& path, std::size_t criteria);

  const CycleBook& book() const { return book_; }
  // The last pass in it, and where the last one begins that is kept whole.
  const std::optional<std::uint32_t>& last_pass() const { return last_pass_; }
  const std::optional<BenchTime>& last_whole() const { return last_whole_; }
  const std::set<std::uint32_t>& whole() const { return whole_; }  // passes that are kept whole

  // Taken at once, and on the disk with the next sync(). Error kind storage.
  void add(const PassRow& row);
  void add(const ValueRow& row);
  Result<void> sync();

 private:
  void take(const PassRow& row);

  std::string path_, waiting_;
  FileDescriptor file_;
  CycleBook book_;
  std::optional<std::uint32_t> last_pass_;
  std::optional<BenchTime> last_whole_;
  std::set<std::uint32_t> whole_;
};

}  // namespace trackrod
