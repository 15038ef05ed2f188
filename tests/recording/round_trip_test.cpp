// A known motion, written as CSV by another program's habits, imported and scored: the findings are those of the same
// samples in memory, and hold the truth.

#include <any>
#include <random>
#include <sstream>

#include "harness/capture/journal_capture.hpp"
#include "harness/capture/memory_capture.hpp"
#include "harness/recording/find_spans.hpp"
#include "harness/recording/importing.hpp"
#include "harness/recording/spans_file.hpp"
#include "harness/score/scoring.hpp"
#include "tests/recording/described.hpp"
#include "tests/recording/python.hpp"

using namespace trackrod;
using namespace trackrod::test;

namespace {

constexpr double lag = 0.040;

// Steps to either side and back; the output follows after `lag`, a tenth as far.
double input_at(double t) {
  const double into = std::fmod(t, 4.0), rise = 0.02;
  const auto ramp = [&](double from) { return std::clamp((into - from) / rise, 0.0, 1.0); };
  return t < 0.0 ? 0.0 : 30.0 * (ramp(1.0) - ramp(2.0) - ramp(3.0) + ramp(4.0 - rise));
}

std::vector<Finding> step_findings(const CaptureView& capture, const std::vector<Span>& spans) {
  static const auto settings = [] {
    Problems problems;
    Chosen chosen;
    std::vector<KindEntry> kinds;
    for (const auto& s : score_entries()) kinds.push_back(s.settings);
    const auto node = parse_json(R"({"score": "step"})", "test", problems);
    REQUIRE(read_kind(*node, "score", kinds, chosen, problems));
    return chosen.value;
  }();
  auto scored = run_score("step", {capture, spans, {{"input", 0}, {"output", 1}}, settings});
  REQUIRE(scored);
  return scored->findings;
}

}  // namespace

TEST_CASE("findings of an imported recording are those of the same samples in memory, and true", "[import]") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937 random{seed};
  std::normal_distribution<double> noise{0.0, 0.02};
  const auto d =
      description_of(csv_description(R"(, "separator": "semicolon", "decimal": "comma", "stamp_uncertainty": "0.1 ms")",
                                     R"({"column": "t", "unit": "ms"})",
                                     R"({"hand": {"column": "h", "unit": "deg", "bench_owned": true},
                          "road": {"column": "r", "unit": "deg", "column_unit": "rad", "bench_owned": true}})"));
  std::ostringstream text;
  text << "t;h;r\r\n" << std::fixed;
  for (int i = 0; i < 16000; ++i) {
    const double t = 0.001 * i;
    text.precision(3);
    text << 1e3 * t << ";" << input_at(t) + noise(random) << ";";
    text.precision(6);
    text << (0.1 * input_at(t - lag) + 0.1 * noise(random)) * M_PI / 180.0 << "\r\n";
  }
  auto csv = text.str();
  std::replace(csv.begin(), csv.end(), '.', ',');

  const Scratch scratch;
  const auto surveyed = survey(*d, bytes_of(csv));
  REQUIRE(surveyed);
  StreamHeader header;
  header.signals = recorded_signals(*d, *surveyed);
  auto journal = JournalWriter::create(scratch.file("journal"), header);
  REQUIRE(journal);
  REQUIRE(write_recording(*d, *surveyed, bytes_of(csv), *journal));
  const auto imported = JournalCapture::open(scratch.file("journal"));
  REQUIRE(imported);

  const auto found = find_spans(**imported, {SpanKind::steps, 0, {"left", "back", "right", "-"}});
  REQUIRE(found);
  std::vector<Span> spans;
  for (const auto& f : found->all)
    if (f.span.step == "left") spans.push_back(f.span);
  REQUIRE(spans.size() == 4);

  MemoryCapture memory{header};
  const auto kept = read(*d, csv).kept;
  for (const auto& [signal, values] : kept.values)
    for (const auto& v : values)
      REQUIRE(memory.put(Record{Sample{BenchTime{Duration{v.ns}}, v.value, 100'000, signal, StampedBy::device}}));

  const auto ours = step_findings(SpannedCapture{**imported, spans}, spans), theirs = step_findings(memory, spans);
  REQUIRE(ours.size() == theirs.size());
  bool seen = false;
  for (std::size_t i = 0; i < ours.size(); ++i) {
    CAPTURE(ours[i].name, ours[i].reason);
    CHECK(ours[i].name == theirs[i].name);
    CHECK(ours[i].reason == theirs[i].reason);
    CHECK(ours[i].value == theirs[i].value);
    CHECK(ours[i].interval == theirs[i].interval);
    if (ours[i].name != "step.delay_50") continue;
    seen = true;
    REQUIRE(ours[i].interval);
    CHECK(*ours[i].value == Approx(1e3 * lag).margin(1.0));
    CHECK((*ours[i].interval)[0] < 1e3 * lag + 0.3);  // two intervals wide at least: it must not be far off
    CHECK((*ours[i].interval)[1] > 1e3 * lag - 0.3);
  }
  CHECK(seen);
}
