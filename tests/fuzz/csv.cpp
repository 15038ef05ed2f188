// CSV of any content, read by a description: the first byte chooses its settings.

#include "harness/recording/reading.hpp"
#include "tests/fuzz/protocol_under_fuzz.hpp"

using namespace trackrod;

namespace {

class Ordered final : public RecordingSink {
 public:
  Result<void> at(BenchTime when) override {
    fuzz::require(!any_ || when >= last_, "times never go back");
    last_ = when;
    any_ = true;
    return {};
  }
  void sample(SignalIndex signal, BenchTime when, double value) override {
    fuzz::require(signal == 0 && when == last_, "a sample of the row");
    fuzz::require(!std::isinf(value), "no value beyond all numbers");
  }

 private:
  BenchTime last_{};
  bool any_{false};
};

}  // namespace

TRACKROD_FUZZ(data) {
  static const auto descriptions = [] {
    std::vector<std::unique_ptr<ImportDescription>> all;
    for (
        const char* more :
        {R"("time": {"column": "t"})", R"("time": {"column": "t", "form": "iso8601"}, "bad_rows": "leave_out")",
         R"("time": {"column": "t", "form": "epoch", "unit": "us"}, "separator": "semicolon", "decimal": "comma", "bad_rows": "leave_out")",
         R"("time": {"every": "1 us"}, "lines_above": 1, "separator": "tab")"}) {
      Problems problems;
      all.push_back(parse_description(
          std::string{R"({"import": "x", "kind": "csv", "signals": {"a": {"column": "a", "unit": "1"}}, )"} + more +
              "}",
          "fuzz", problems));
      fuzz::require(all.back() != nullptr, "the description of the fuzz target");
    }
    return all;
  }();
  if (data.empty()) return;
  const auto& description = *descriptions[std::to_integer<std::size_t>(data[0]) % descriptions.size()];
  ReadCounts counts;
  Ordered sink;
  const std::string text{reinterpret_cast<const char*>(data.data()) + 1, data.size() - 1};
  if (const auto read = read_recording(description, bytes_of(text), counts, sink); !read)
    fuzz::require(!read.error().context.empty(), "a reason in words");
  counts.notes();
}
