#pragma once
// The HDF5 archive of a run, for every tool that reads HDF5. The layout: docs/formats/archive.md.

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "harness/capture/journal_capture.hpp"

namespace trackrod {

// Copies the journal into a new file `path`: written as `path`.part, read back and compared with the journal value by
// value, brought to the disk and only then renamed. Blocks for long; its memory does not grow with the run. Meant for a
// process of its own with low priority. Error kind storage; no file is left then.
Result<void> write_archive(const JournalCapture& journal, const std::string& path);

// A capture read from an archive. Samples are read when they are asked for. One thread at a time.
class Hdf5Capture final : public CaptureView {
 public:
  // Error kind storage: no such file, damaged, or no archive of a version that this program knows.
  static Result<std::unique_ptr<Hdf5Capture>> open(const std::string& path);
  Hdf5Capture(const Hdf5Capture&) = delete;
  Hdf5Capture& operator=(const Hdf5Capture&) = delete;
  ~Hdf5Capture() override;

  const StreamHeader& header() const;
  const std::vector<SignalInfo>& signals() const override;
  const std::vector<Span>& spans() const override;
  const std::vector<Event>& events() const override;
  const std::vector<Gap>& gaps() const override;
  const std::vector<Note>& notes() const override;
  const std::vector<LeftOut>& left_out() const override;
  const TimingQuality& timing() const override;
  BenchTime begin() const override;
  BenchTime end() const override;
  Result<std::vector<Point>> points(SignalIndex signal, BenchTime from, BenchTime to) const override;

 private:
  struct Contents;
  explicit Hdf5Capture(std::unique_ptr<Contents> contents);
  std::unique_ptr<Contents> contents_;
};

}  // namespace trackrod
