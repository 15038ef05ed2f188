#pragma once
// Which stretch of a recording stands for which step of a plan: a JSON file, or what was found in the data.

#include <optional>
#include <string>
#include <vector>

#include "harness/base/problems.hpp"
#include "harness/capture/view.hpp"

namespace trackrod {

// {"spans": [{"step": "weave", "from": "12.5 s", "to": "18 s"}, ...]}. Times are those of the recording: quantities, or
// where its times are dates also dates after ISO 8601. A name may stand at several spans: they are its repetitions.
// `wall_of_zero`: ns since 1970 of the recording's time zero, empty where it is not known. Spans in the order of time;
// of use only when there are no problems.
std::vector<Span> parse_spans(const std::string& text, const std::string& file,
                              std::optional<std::int64_t> wall_of_zero, Problems& problems);
// Such a file with these spans.
std::string spans_json(const std::vector<Span>& spans);
// The JSON Schema of such files, for editors.
std::string spans_schema();

// All digits, and none too many: "12.5 s".
std::string recording_time_text(BenchTime when);
// A time of the recording as such a file has it. Error kind bad_input: what was found, what is allowed.
Result<BenchTime> recording_time(const std::string& text, std::optional<std::int64_t> wall_of_zero);

// In the order of time, each repetition of a name with its number.
void number_spans(std::vector<Span>& spans);

// A capture whose steps are these spans.
class SpannedCapture final : public CaptureView {
 public:
  // `capture` must live longer.
  SpannedCapture(const CaptureView& capture, std::vector<Span> spans) : capture_{capture}, spans_{std::move(spans)} {}
  const std::vector<SignalInfo>& signals() const override { return capture_.signals(); }
  const std::vector<Span>& spans() const override { return spans_; }
  const std::vector<Event>& events() const override { return capture_.events(); }
  const std::vector<Gap>& gaps() const override { return capture_.gaps(); }
  const TimingQuality& timing() const override { return capture_.timing(); }
  const std::vector<Note>& notes() const override { return capture_.notes(); }
  BenchTime begin() const override { return capture_.begin(); }
  BenchTime end() const override { return capture_.end(); }
  Result<std::vector<Point>> points(SignalIndex signal, BenchTime from, BenchTime to) const override {
    return capture_.points(signal, from, to);
  }
  Result<void> each_stamps(BenchTime from, BenchTime to, const StampsVisitor& take) const override {
    return capture_.each_stamps(from, to, take);
  }

 private:
  const CaptureView& capture_;
  std::vector<Span> spans_;
};

}  // namespace trackrod
