#pragma once
// From a recording made elsewhere to a journal as a run writes it. Two passes over the file: the first checks all of it
// and learns what the stamps and intervals are worth; nothing is written before it has come to the end.

#include "harness/capture/writer.hpp"
#include "harness/recording/reading.hpp"

namespace trackrod {

// What the first pass tells.
struct Survey {
  ReadCounts counts;
  std::vector<std::uint64_t> samples;       // by signal
  std::vector<Duration> intervals;          // by signal: usual time between two samples, the median
  std::vector<Duration> stamp_half_widths;  // by signal
  std::vector<Duration> gaps;               // by signal: no sample for longer than this is a gap
  BenchTime begin{}, end{};                 // of all samples
  std::vector<std::string> notes() const;   // the counts' and its own
  std::vector<std::string> own_notes;
};
// Error kinds: bad_input, with the line; storage.
Result<Survey> survey(const ImportDescription& description, ByteSource source);

// The signals as a capture keeps them. Without a stated resolution it is that of the last digit in the file: finer than
// that nothing can be told.
std::vector<SignalInfo> recorded_signals(const ImportDescription& description, const Survey& survey);

// Writes all samples, each with the half-width of its stamp, and the gaps between them, and ends the journal. Error
// kinds as survey, and what the journal says.
Result<void> write_recording(const ImportDescription& description, const Survey& survey, ByteSource source,
                             JournalWriter& journal);

}  // namespace trackrod
