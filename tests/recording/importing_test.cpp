// From a file to a journal: every sample, what its stamp is worth, and what is missing.

#include "harness/recording/importing.hpp"

#include <sstream>

#include "harness/capture/journal_capture.hpp"
#include "harness/capture/memory_capture.hpp"
#include "tests/recording/described.hpp"
#include "tests/recording/python.hpp"

using namespace trackrod;
using namespace trackrod::test;
using namespace std::chrono_literals;

namespace {

struct Imported {
  Survey survey;
  std::unique_ptr<JournalCapture> capture;
};
Imported import(const ImportDescription& description, const std::string& text, const Scratch& scratch) {
  auto surveyed = survey(description, bytes_of(text));
  REQUIRE(surveyed);
  StreamHeader header;
  header.run_id = "test";
  header.signals = recorded_signals(description, *surveyed);
  auto journal = JournalWriter::create(scratch.file("journal"), header);
  REQUIRE(journal);
  REQUIRE(write_recording(description, *surveyed, bytes_of(text), *journal));
  auto capture = JournalCapture::open(scratch.file("journal"));
  REQUIRE(capture);
  return {std::move(*surveyed), std::move(*capture)};
}

std::string two_signals(const std::string& more = "") {
  return csv_description(more, R"({"column": "t"})", R"({"a": {"column": "a", "unit": "deg", "column_unit": "rad"},
                                                          "b": {"column": "b", "unit": "V", "resolution": "0.5 V"}})");
}

// Rows each millisecond from 5 s on, without those from `from` up to before `to`.
std::string rows(int from = 0, int to = 0) {
  std::ostringstream text;
  text << "t,a,b\n";
  for (int i = 0; i < 200; ++i)
    if (i < from || i >= to)
      text << "5." << (i < 10 ? "00" : i < 100 ? "0" : "") << i << "," << i << ".25," << 0.5 * i << "\n";
  return text.str();
}

}  // namespace

TEST_CASE("an imported recording holds every sample at its own time", "[import]") {
  const Scratch scratch;
  const auto r = import(*description_of(two_signals(R"(, "stamp_uncertainty": "0.7 ms")")), rows(), scratch);
  const auto points = r.capture->points(0, BenchTime{0s}, BenchTime{100s});
  REQUIRE(points);
  REQUIRE(points->size() == 200);
  for (int i = 0; i < 200; ++i) {
    const auto& p = (*points)[static_cast<std::size_t>(i)];
    CHECK(p.when == BenchTime{5s + i * 1ms});
    CHECK(p.value == Approx((i + 0.25) * 180.0 / M_PI));
    CHECK(p.uncertainty_ns == 700'000);
    CHECK(p.by == StampedBy::device);
  }
  CHECK(r.capture->begin() == BenchTime{5s});
  CHECK(r.capture->end() == BenchTime{5s + 199ms});
  CHECK(r.capture->gaps().empty());
  CHECK(r.capture->losses().empty());
  CHECK(r.capture->timing().ticks == 0);
  REQUIRE(r.capture->ended());
  CHECK(r.survey.notes().empty());
}

TEST_CASE("stamps that say nothing of themselves are worth half an interval, and that is told", "[import]") {
  const Scratch scratch;
  const auto r = import(*description_of(two_signals()), rows(), scratch);
  CHECK(r.capture->points(0, BenchTime{5s}, BenchTime{6s})->front().uncertainty_ns == 500'000);
  REQUIRE(r.survey.notes().size() == 1);
  CHECK(r.survey.notes()[0].find("half the usual interval between samples is taken") != std::string::npos);
}

TEST_CASE("no stamp is better than half of its last digit", "[import]") {
  const Scratch scratch;
  const auto r = import(*description_of(csv_description(R"(, "stamp_uncertainty": "0 s")")),
                        "t,a\n0.1,1\n0.2,2\n0.3,3\n", scratch);
  CHECK(r.capture->points(0, BenchTime{0s}, BenchTime{6s})->front().uncertainty_ns == 50'000'000);
}

TEST_CASE("a signal is no finer than the last digit in the file, or than its sensor", "[import]") {
  const Scratch scratch;
  const auto r = import(*description_of(two_signals()), rows(), scratch);
  CHECK(r.capture->signals()[0].resolution == Approx(0.01 * 180.0 / M_PI));
  CHECK(r.capture->signals()[1].resolution == Approx(0.5));
}

TEST_CASE("where rows are missing the capture has a gap, one for all signals of the row", "[import]") {
  const Scratch scratch;
  const auto r = import(*description_of(two_signals()), rows(50, 80), scratch);
  REQUIRE(r.capture->gaps().size() == 1);
  const auto& gap = r.capture->gaps()[0];
  CHECK(gap.from == BenchTime{5s + 49ms});
  CHECK(gap.to == BenchTime{5s + 80ms});
  CHECK(gap.count == 60);  // 30 of each signal
  CHECK(gap.why == "the recording has no sample of 'a' and 1 more for 0.031 s, usually one every 1 ms");
}

TEST_CASE("what is a gap may be said", "[import]") {
  const Scratch short_enough, not_long_enough;
  CHECK(
      import(*description_of(two_signals(R"(, "gap": "50 ms")")), rows(50, 80), short_enough).capture->gaps().empty());
  CHECK(import(*description_of(two_signals(R"(, "gap": "2 ms")")), rows(50, 52), not_long_enough)
            .capture->gaps()
            .size() == 1);
}

TEST_CASE("a recording imported is the capture that the same samples make", "[import]") {
  const Scratch scratch;
  const auto d = description_of(two_signals());
  const auto r = import(*d, rows(50, 80), scratch);
  MemoryCapture memory{r.capture->header()};
  const auto kept = read(*d, rows(50, 80)).kept;
  for (const auto& [signal, values] : kept.values)
    for (const auto& v : values)
      REQUIRE(memory.put(Record{Sample{BenchTime{Duration{v.ns}}, v.value, 500'000, signal, StampedBy::device}}));
  for (const SignalIndex signal : {SignalIndex{0}, SignalIndex{1}}) {
    const auto a = r.capture->points(signal, BenchTime{5s}, BenchTime{6s}),
               b = memory.points(signal, BenchTime{5s}, BenchTime{6s});
    REQUIRE(a->size() == b->size());
    for (std::size_t i = 0; i < a->size(); ++i) {
      CHECK((*a)[i].when == (*b)[i].when);
      CHECK((*a)[i].value == (*b)[i].value);
    }
  }
}

#ifndef TRACKROD_SANITIZED  // holds on to what was freed

TEST_CASE("a survey's memory does not grow with the file", "[import]") {
  // Rows made up as they are asked for: a million of them, thirty megabytes of text.
  const auto source = [sent = 0, rest = std::string{"t,a\n"}](std::span<char> room) mutable -> Result<std::size_t> {
    while (rest.size() < room.size() && sent < 1'000'000) {
      const auto i = sent++;
      rest += std::to_string(i) + "," + std::to_string(i % 977) + ".0000000000000001\n";
    }
    const auto n = std::min(room.size(), rest.size());
    std::copy_n(rest.begin(), n, room.begin());
    rest.erase(0, n);
    return n;
  };
  const auto used = [] {
    std::ifstream status{"/proc/self/status"};
    for (std::string line; std::getline(status, line);)
      if (line.rfind("VmRSS:", 0) == 0) return std::stol(line.substr(6));
    return 0L;
  };
  const auto before = used();
  const auto r = survey(*description_of(csv_description("", R"({"column": "t", "unit": "ms"})")), source);
  REQUIRE(r);
  CHECK(r->samples[0] == 1'000'000);
  CHECK(r->intervals[0] == 1ms);
  CHECK(used() - before < 8000);  // kB
}

#endif
