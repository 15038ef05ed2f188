// Logs of a CAN bus of any content, line by line and by a description: the first byte chooses its settings.

#include "harness/recording/candump_line.hpp"
#include "harness/recording/reading.hpp"
#include "tests/fuzz/protocol_under_fuzz.hpp"

using namespace trackrod;

namespace {

class AnySink final : public RecordingSink {
 public:
  Result<void> at(BenchTime) override { return {}; }
  void sample(SignalIndex signal, BenchTime, double) override {
    fuzz::require(signal < 2, "a signal that is described");
  }
};

}  // namespace

TRACKROD_FUZZ(data) {
  static const auto descriptions = [] {
    std::vector<std::unique_ptr<ImportDescription>> all;
    for (const char* stamps : {"absolute", "delta"}) {
      Problems problems;
      all.push_back(parse_description(
          std::string{R"({"import": "x", "kind": "candump", "stamp_uncertainty": "1 us", "bad_rows": "leave_out",
        "frames": {"d": {"kind": "frames",
          "receive": {"s": {"length": 4, "can": {"id": "0x120"}, "counter": {"start": 16, "bits": 8}, "checksum": {"kind": "XOR-8", "at": 3},
                            "fields": {"x": {"start": 0, "bits": 16}}},
                      "p": {"length": 16, "can": {"id": "0x121", "fd": true}, "e2e": {"profile": "P05", "data_id": 77, "at": 0},
                            "fields": {"y": {"start": 64, "bits": 32, "float": true}}}}}},
        "signals": {"x": {"field": "x", "unit": "1"}, "y": {"field": "y", "unit": "1"}}, "stamps": ")"} +
              stamps + "\"}",
          "fuzz", problems));
      fuzz::require(all.back() != nullptr, "the description of the fuzz target");
    }
    return all;
  }();
  if (data.empty()) return;
  const std::string text{reinterpret_cast<const char*>(data.data()) + 1, data.size() - 1};
  CandumpLine line;
  if (read_candump_line(text.substr(0, text.find('\n')), line).empty()) {
    std::array<std::byte, greatest_can_datagram> buffer{};
    fuzz::require(!write_can(line.frame, buffer).empty(), "a frame that was read can exist");
  }
  ReadCounts counts;
  AnySink sink;
  if (const auto read =
          read_recording(*descriptions[std::to_integer<std::size_t>(data[0]) % 2], bytes_of(text), counts, sink);
      !read)
    fuzz::require(!read.error().context.empty(), "a reason in words");
  counts.notes();
}
