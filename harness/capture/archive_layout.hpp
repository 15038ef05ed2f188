#pragma once
// The archive's columns, which its writer, its check and its reader share. The layout: docs/formats/archive.md.

#include <limits>
#include <string>

#include "harness/capture/hdf5_file.hpp"
#include "harness/capture/journal_capture.hpp"

namespace trackrod::archive {

inline constexpr std::int64_t version = 2;
inline constexpr const char* format = "trackrod archive";

// What rows read as that were never written: no value, and no instant.
inline constexpr std::int64_t no_time = std::numeric_limits<std::int64_t>::min();
inline constexpr std::uint8_t no_source = 0xFF;
inline constexpr std::uint32_t no_number = 0xFFFFFFFF;

// The four columns of a signal.
struct SignalColumns {
  hdf5::Column t, value, by, uncertainty;
  static SignalColumns create(const hdf5::Handle& group);
  static SignalColumns open(const hdf5::Handle& group);
};

// The groups under /signals, in the order of the signals. Throws when one is missing.
std::vector<hdf5::Handle> open_signals(const hdf5::Handle& file, const std::vector<SignalInfo>& signals);

struct TickColumns {
  hdf5::Column due, number, late, work, input_age;
  static TickColumns create(const hdf5::Handle& group);
  static TickColumns open(const hdf5::Handle& group);
};

// Rows waiting to be written, or read ahead.
struct SampleRows {
  std::vector<std::int64_t> t;
  std::vector<double> value;
  std::vector<std::uint8_t> by;
  std::vector<std::uint32_t> uncertainty;
  std::size_t size() const { return t.size(); }
  void add(const Sample& sample);
  void append_to(SignalColumns& columns);  // and clears
  void read_from(const SignalColumns& columns, hsize_t from, hsize_t count);
  Sample at(std::size_t row, SignalIndex signal) const;
};

struct TickRows {
  std::vector<std::int64_t> due;
  std::vector<std::uint32_t> number, late, work, input_age;
  std::size_t size() const { return due.size(); }
  void add(const Tick& tick);
  void append_to(TickColumns& columns);
  void read_from(const TickColumns& columns, hsize_t from, hsize_t count);
  Tick at(std::size_t row) const;
};

// Every record in the file at `path` against the journal's, bit by bit. Throws at the first that differs.
void compare(const std::string& path, const JournalCapture& journal);

}  // namespace trackrod::archive
