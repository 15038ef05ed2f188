#include <limits>
#include <map>

#include "harness/capture/memory_capture.hpp"
#include "tests/capture/helpers.hpp"
#include "tests/catch.hpp"

using namespace trackrod;
using namespace trackrod::test;

namespace {

// Values that a careless coding would bend: signs of zero, not-a-numbers with their payload, the smallest and the
// largest.
double awkward(std::mt19937_64& random, const SignalInfo& signal) {
  static const double list[] = {0.0,
                                -0.0,
                                std::numeric_limits<double>::infinity(),
                                -std::numeric_limits<double>::infinity(),
                                std::numeric_limits<double>::quiet_NaN(),
                                std::numeric_limits<double>::denorm_min(),
                                std::numeric_limits<double>::max(),
                                std::bit_cast<double>(0x7FF4000000000123)};
  switch (random() % 4) {
    case 0:
      return list[random() % std::size(list)];
    case 1:
      return std::bit_cast<double>(random());
    default:
      return signal.resolution * static_cast<double>(static_cast<std::int64_t>(random() % 4000) - 2000) +
             signal.resolution_offset;
  }
}

}  // namespace

TEST_CASE("any record comes back bit by bit as it was put in") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937_64 random{seed};
  Folder folder;
  const auto header = small_header();
  std::map<SignalIndex, std::vector<Sample>> samples;
  std::vector<Tick> ticks;
  std::vector<Event> events;
  {
    auto writer = JournalWriter::create(folder / "journal", header);
    REQUIRE(writer);
    for (int i = 0; i < 20000; ++i) {
      const auto what = random() % 100;
      if (what < 80) {
        const auto signal = static_cast<SignalIndex>(random() % header.signals.size());
        // Stamps: mostly near each other, some anywhere a 64-bit number can point to.
        const auto when = at(random() % 50 == 0 ? Duration{static_cast<std::int64_t>(random())}
                                                : Duration{i * 1000 + static_cast<std::int64_t>(random() % 5000)});
        const Sample s{when, awkward(random, header.signals[signal]),
                       random() % 3 == 0 ? static_cast<std::uint32_t>(random()) : 1000U, signal,
                       static_cast<StampedBy>(random() % 3)};
        samples[signal].push_back(s);
        REQUIRE(writer->put(s));
      } else if (what < 95) {
        const Tick t{at(Duration{static_cast<std::int64_t>(random() >> (random() % 40))}),
                     static_cast<std::uint32_t>(random()), static_cast<std::uint32_t>(random()),
                     static_cast<std::uint32_t>(random()), static_cast<std::uint32_t>(random())};
        ticks.push_back(t);
        REQUIRE(writer->put(t));
      } else {
        const Event e{at(Duration{i}), std::bit_cast<double>(random()), static_cast<std::uint32_t>(random()),
                      static_cast<std::uint32_t>(random()), static_cast<EventKind>(random() % 18)};
        events.push_back(e);
        REQUIRE(writer->put(e));
      }
      if (random() % 300 == 0) REQUIRE(writer->flush());
    }
    REQUIRE(writer->end(at(1s), "finished"));
  }
  const auto capture = JournalCapture::open(folder / "journal");
  REQUIRE(capture);
  CHECK((*capture)->losses().empty());
  std::map<SignalIndex, std::vector<Sample>> read;
  const auto kept = read_all(**capture);
  for (const auto& s : kept.samples) read[s.signal].push_back(s);
  REQUIRE(read.size() == samples.size());
  for (const auto& [signal, column] : samples) {
    const auto& back = read[signal];
    REQUIRE(back.size() == column.size());
    std::size_t wrong = 0;
    for (std::size_t i = 0; i < column.size(); ++i) wrong += same(back[i], column[i]) ? 0 : 1;
    CHECK(wrong == 0);
  }
  REQUIRE(kept.ticks.size() == ticks.size());
  for (std::size_t i = 0; i < ticks.size(); ++i) REQUIRE(same(kept.ticks[i], ticks[i]));
  const auto& read_events = (*capture)->events();
  REQUIRE(read_events.size() == events.size());
  for (std::size_t i = 0; i < events.size(); ++i)
    REQUIRE((read_events[i].when == events[i].when && same_bits(read_events[i].value, events[i].value) &&
             read_events[i].a == events[i].a && read_events[i].b == events[i].b &&
             read_events[i].kind == events[i].kind));
}

TEST_CASE("quantised signals take at most a third of a stamp and a double") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937_64 random{seed};
  Folder folder;
  auto header = small_header();
  header.signals[2].resolution = 0.05;
  auto writer = JournalWriter::create(folder / "journal", header);
  REQUIRE(writer);
  const auto before = writer->bytes_written();
  std::size_t samples = 0;
  for (std::uint32_t n = 0; n < 10000; ++n) {
    for (auto r : millisecond(n, random)) {
      if (r.kind != Record::Kind::sample) continue;
      if (r.sample.signal == 2) r.sample.value = 0.05 * std::round(r.sample.value / 0.05);
      if (r.sample.signal == 3) continue;  // a continuous setpoint
      REQUIRE(writer->put(r));
      ++samples;
    }
    if (n % 100 == 99) REQUIRE(writer->flush());
  }
  const double each = static_cast<double>(writer->bytes_written() - before) / static_cast<double>(samples);
  INFO(each << " bytes a sample; a stamp and a double take 16");
  CHECK(each * 3.0 <= 16.0);
}

TEST_CASE("a journal and a capture in memory say the same of the same records") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937_64 random{seed};
  Folder folder;
  MemoryCapture memory{small_header()};
  auto writer = JournalWriter::create(folder / "journal", small_header());
  REQUIRE(writer);
  JournalSink sink{*writer};
  const auto put = [&](const Record& r) {
    REQUIRE(memory.put(r));
    REQUIRE(sink.put(r));
  };
  for (std::uint32_t n = 0; n < 3000; ++n) {
    const auto due = at(5s + n * 1ms);
    if (n % 1000 == 100) put(Event{due, 0.0, 3, n / 1000, EventKind::step_started});
    if (n % 1000 == 600) put(Event{due, n < 1000 ? 1.0 : 0.0, 3, n / 1000, EventKind::step_ended});
    if (n == 2700) put(Event{due, 0.0, 4, 0, EventKind::step_started});
    if (n % 500 == 7) continue;  // a missed tick
    for (const auto& r : millisecond(n, random)) put(r);
  }
  REQUIRE(writer->end(at(8s), "finished"));
  const auto opened = JournalCapture::open(folder / "journal");
  REQUIRE(opened);
  const auto& journal = **opened;

  for (const CaptureView* view : std::initializer_list<const CaptureView*>{&memory, &journal}) {
    REQUIRE(view->spans().size() == 4);
    CHECK(view->spans()[0].step == "sweep");
    CHECK(view->spans()[0].complete);
    CHECK(view->spans()[0].from == at(5100ms));
    CHECK(view->spans()[0].to == at(5600ms));
    CHECK(view->spans()[1].cycle == 1);
    CHECK_FALSE(view->spans()[1].complete);
    CHECK(view->spans()[3].step == "hold");
    CHECK_FALSE(view->spans()[3].complete);
    CHECK(view->spans()[3].to == view->end());
    CHECK(view->timing().ticks == 2994);
    CHECK(view->timing().missed == 6);
    CHECK(view->timing().input_age_max == 400us);
    CHECK(view->find("rack.position") == SignalIndex{2});
    CHECK_FALSE(view->points(9, at(0s), at(9s)).has_value());
  }
  CHECK(memory.begin() == journal.begin());
  CHECK(memory.end() == journal.end());
  CHECK(memory.timing().late_histogram == journal.timing().late_histogram);
  for (SignalIndex signal = 0; signal < 4; ++signal) {
    const auto from = at(5s + Duration{static_cast<std::int64_t>(random() % 3000000000)});
    const auto to = from + Duration{static_cast<std::int64_t>(random() % 1000000000)};
    const auto a = memory.points(signal, from, to), b = journal.points(signal, from, to);
    REQUIRE(a);
    REQUIRE(b);
    REQUIRE(a->size() == b->size());
    for (std::size_t i = 0; i < a->size(); ++i)
      REQUIRE(((*a)[i].when == (*b)[i].when && same_bits((*a)[i].value, (*b)[i].value) && (*a)[i].by == (*b)[i].by &&
               (*a)[i].uncertainty_ns == (*b)[i].uncertainty_ns && (*a)[i].when >= from && (*a)[i].when < to));
  }
}

TEST_CASE("lateness is counted in bins of a microsecond, and percentiles are nearest-rank") {
  // Nearest rank: the smallest value with at least p % of the values at or below it. Rounded up to the bin's end.
  MemoryCapture capture{small_header()};
  for (std::uint32_t i = 0; i < 100; ++i) capture.put(Tick{at(i * 1ms), i, (i + 1) * 10000 + 1, 500, 7});
  const auto& timing = capture.timing();
  CHECK(timing.late_bin == 1us);
  CHECK(timing.late_p50 == 501us);  // the 50th value is 500.001 us
  CHECK(timing.late_p99 == 991us);
  CHECK(timing.late_max == 1000001ns);
  CHECK(timing.late_histogram[10] == 1);
  CHECK(timing.late_histogram[11] == 0);
  capture.put(Tick{at(200ms), 100, 4000000000U, 500, 7});
  CHECK(capture.timing().late_histogram.back() == 1);
  CHECK(capture.timing().late_max == 4s);
}

TEST_CASE("stamps of all signals at once are those of the points of each") {
  Folder folder;
  const auto header = small_header();
  MemoryCapture memory{header};
  {
    auto writer = JournalWriter::create(folder / "journal", header);
    REQUIRE(writer);
    std::mt19937_64 random{5};
    for (std::uint32_t n = 0; n < 3000; ++n)
      for (const auto& record : millisecond(n, random)) {
        REQUIRE(writer->put(record));
        REQUIRE(memory.put(record));
      }
  }
  const auto journal = JournalCapture::open(folder / "journal");
  REQUIRE(journal);
  const auto from = at(5850ms), to = at(7150ms);  // within blocks
  for (const CaptureView* capture :
       {static_cast<const CaptureView*>(journal->get()), static_cast<const CaptureView*>(&memory)}) {
    std::map<SignalIndex, std::vector<BenchTime>> stamps;
    REQUIRE(capture->each_stamps(from, to, [&](auto signals, auto when) {
      for (const auto signal : signals) stamps[signal].insert(stamps[signal].end(), when.begin(), when.end());
    }));
    for (std::size_t i = 0; i < header.signals.size(); ++i) {
      const auto signal = static_cast<SignalIndex>(i);
      const auto points = capture->points(signal, from, to);
      REQUIRE(points);
      REQUIRE(points->size() > 100);
      REQUIRE(std::equal(points->begin(), points->end(), stamps[signal].begin(), stamps[signal].end(),
                         [](const Point& p, BenchTime when) { return p.when == when; }));
    }
  }
}
