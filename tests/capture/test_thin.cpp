// Segments of a journal from which samples were left out.

#include <sys/wait.h>

#include <csignal>

#include "harness/capture/archive.hpp"
#include "harness/capture/thin.hpp"
#include "tests/capture/helpers.hpp"
#include "tests/catch.hpp"

using namespace trackrod;
using namespace trackrod::test;

namespace {

// Four segments of a second each; two steps of half a second in each of them.
std::unique_ptr<JournalCapture> make_journal(const Folder& folder) {
  std::mt19937_64 random{7};
  auto writer = JournalWriter::create(folder / "journal", small_header(), {1ULL << 30, 1s});
  for (std::uint32_t n = 0; n < 4000; ++n) {
    if (n % 500 == 0) {
      if (n > 0) REQUIRE(writer->put(Event{at(5s + n * 1ms), 1.0, 3, n / 500 - 1, EventKind::step_ended}));
      REQUIRE(writer->put(Event{at(5s + n * 1ms), 0.0, 3, n / 500, EventKind::step_started}));
    }
    for (const auto& record : millisecond(n, random)) REQUIRE(writer->put(record));
    if (n % 100 == 99) REQUIRE(writer->flush());
  }
  REQUIRE(writer->put(Event{at(9s), 1.0, 3, 7, EventKind::step_ended}));
  REQUIRE(writer->end(at(9s), "finished"));
  return std::move(*JournalCapture::open(folder / "journal"));
}

std::string segment(const Folder& folder, int n) {
  return folder / ("journal/segment-000" + std::to_string(n) + ".trj");
}

}  // namespace

TEST_CASE("what is left out of a segment is said, and all else stays, bit by bit") {
  Folder folder;
  const auto before = make_journal(folder);
  const auto whole = read_all(*before);
  // From 6.2 s to 7.3 s: most of the second segment and the begin of the third.
  const std::vector<TimeRange> out{{at(6200ms), at(7300ms)}};
  std::uint64_t gained = 0;
  for (int n = 1; n <= 4; ++n) {
    const auto thinned = thin_segment(segment(folder, n), out);
    REQUIRE(thinned);
    gained += *thinned;
  }
  const auto after = *JournalCapture::open(folder / "journal");
  CHECK(gained > 0);
  CHECK(after->losses().empty());
  CHECK(after->gaps().empty());
  CHECK(after->ended());
  CHECK(after->events().size() == before->events().size());

  const auto kept = read_all(*after);
  REQUIRE(after->left_out().size() == 1);
  const auto& gone = after->left_out().front();
  CHECK(gone.from >= out[0].from);
  CHECK(gone.to <= out[0].to);
  CHECK(gone.to - gone.from > 800ms);
  CHECK(kept.samples.size() + gone.samples == whole.samples.size());
  CHECK(kept.ticks.size() + gone.ticks == whole.ticks.size());
  // The samples that are there are those outside.
  std::vector<Sample> expected;
  for (const auto& s : whole.samples)
    if (s.when < gone.from || s.when > gone.to) expected.push_back(s);
  REQUIRE(kept.samples.size() == expected.size());
  for (std::size_t i = 0; i < expected.size(); ++i) REQUIRE(same(kept.samples[i], expected[i]));

  SECTION("a step that lacks a sample says so, and the others do not") {
    for (const auto& span : after->spans()) CHECK(span.kept == (span.to < gone.from || span.from > gone.to));
    CHECK(std::ranges::count(after->spans(), false, &Span::kept) == 3);
  }
  SECTION("ticks count and are late as before") {
    CHECK(after->timing().ticks == before->timing().ticks);
    CHECK(after->timing().missed == before->timing().missed);
    CHECK(after->timing().late_max == before->timing().late_max);
  }
  SECTION("the archive says it too") {
    REQUIRE(write_archive(*after, folder / "capture.h5"));
    const auto archive = Hdf5Capture::open(folder / "capture.h5");
    REQUIRE(archive);
    REQUIRE((*archive)->left_out().size() == 1);
    CHECK((*archive)->left_out().front().samples == gone.samples);
    CHECK((*archive)->timing().ticks == before->timing().ticks);
    CHECK(std::ranges::count((*archive)->spans(), false, &Span::kept) == 3);
  }
  SECTION("to leave out the same again changes nothing, and more may be left out later") {
    const auto bytes = read_file(segment(folder, 2));
    REQUIRE(thin_segment(segment(folder, 2), out));
    CHECK(read_file(segment(folder, 2)) == bytes);
    REQUIRE(thin_segment(segment(folder, 2), std::vector<TimeRange>{{at(5900ms), at(7400ms)}}));
    const auto more = *JournalCapture::open(folder / "journal");
    CHECK(more->losses().empty());
    REQUIRE(more->left_out().size() == 1);
    CHECK(read_all(*more).samples.size() + more->left_out().front().samples == whole.samples.size());
    CHECK(more->timing().ticks == before->timing().ticks);
  }
  SECTION("segments from the middle can be read by themselves") {
    const auto middle = JournalCapture::over({segment(folder, 3), segment(folder, 4)});
    REQUIRE(middle);
    CHECK((*middle)->losses().empty());
    CHECK((*middle)->end() == before->end());
  }
}

TEST_CASE("ticks that did not run within what is left out stay missed") {
  Folder folder;
  std::mt19937_64 random{7};
  {
    auto writer = JournalWriter::create(folder / "journal", small_header());
    for (std::uint32_t n = 0; n < 2000; ++n) {
      if (n >= 700 && n < 705) continue;    // within a block
      if (n >= 1000 && n < 1002) continue;  // between two
      for (const auto& record : millisecond(n, random)) REQUIRE(writer->put(record));
      if (n % 100 == 99) REQUIRE(writer->flush());
    }
    REQUIRE(writer->end(at(7s), "finished"));
  }
  CHECK((*JournalCapture::open(folder / "journal"))->timing().missed == 7);
  REQUIRE(thin_segment(segment(folder, 1), std::vector<TimeRange>{{at(5500ms), at(6500ms)}}));
  CHECK((*JournalCapture::open(folder / "journal"))->timing().missed == 7);
}

TEST_CASE("a segment with damage in it stays as it is") {
  Folder folder;
  (void)make_journal(folder);
  auto bytes = read_file(segment(folder, 2));
  bytes[bytes.size() / 2] ^= 0x10;
  write_file(segment(folder, 2), bytes);
  const auto thinned = thin_segment(segment(folder, 2), std::vector<TimeRange>{{at(0s), at(100s)}});
  REQUIRE(thinned);
  CHECK(*thinned == 0);
  CHECK(read_file(segment(folder, 2)) == bytes);
  CHECK_FALSE(std::filesystem::exists(segment(folder, 2) + ".part"));
}

TEST_CASE("a kill while a segment is replaced leaves the old one or the new one") {
  Folder folder;
  const auto before = make_journal(folder);
  const std::vector<TimeRange> out{{at(5200ms), at(8800ms)}};
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937 random{seed};
  for (int round = 0; round < 20; ++round) {
    std::fflush(nullptr);
    const auto child = fork();
    if (child == 0) {
      for (int n = 1; n <= 4; ++n) (void)thin_segment(segment(folder, n), out);
      _exit(0);
    }
    usleep(static_cast<useconds_t>(random() % 20000));
    kill(child, SIGKILL);
    int status = 0;
    waitpid(child, &status, 0);
    const auto after = *JournalCapture::open(folder / "journal");
    REQUIRE(after->losses().empty());
    std::uint64_t gone = 0;
    for (const auto& l : after->left_out()) gone += l.samples;
    REQUIRE(read_all(*after).samples.size() + gone == before->sample_count());
    REQUIRE(after->timing().ticks == before->timing().ticks);
  }
}
