// Real kills and real refusals of the system.
#include <sys/resource.h>
#include <sys/wait.h>

#include <csignal>
#include <map>

#include "harness/capture/archive.hpp"
#include "tests/capture/helpers.hpp"
#include "tests/catch.hpp"

using namespace trackrod;
using namespace trackrod::test;

namespace {

constexpr std::uint32_t block_ms = 20;

// Writes until it is killed; tells through `pipe` how many milliseconds have been flushed.
[[noreturn]] void record_for_ever(const std::string& dir, std::uint64_t seed, int pipe) {
  std::mt19937_64 random{seed};
  auto writer = JournalWriter::create(dir, small_header(), {200000, 10min});
  for (std::uint32_t n = 0; writer; ++n) {
    for (const auto& r : millisecond(n, random)) (void)writer->put(r);
    if (n % block_ms != block_ms - 1) continue;
    const auto flushed = n % (5 * block_ms) == 5 * block_ms - 1 ? writer->sync() : writer->flush();
    const auto told = n + 1;
    if (!flushed || write(pipe, &told, sizeof told) != sizeof told) break;
  }
  _exit(1);
}

// While it lives, no file may grow beyond `bytes`: a write fails as on a full disk (EFBIG, setrlimit(2)).
class SmallDisk {
 public:
  explicit SmallDisk(rlim_t bytes) : signal_{std::signal(SIGXFSZ, SIG_IGN)} {
    getrlimit(RLIMIT_FSIZE, &before_);
    resize(bytes);
  }
  SmallDisk(const SmallDisk&) = delete;
  SmallDisk& operator=(const SmallDisk&) = delete;
  ~SmallDisk() {
    setrlimit(RLIMIT_FSIZE, &before_);
    std::signal(SIGXFSZ, signal_);
  }
  void resize(rlim_t bytes) {
    const rlimit limit{bytes, before_.rlim_max};
    setrlimit(RLIMIT_FSIZE, &limit);
  }

 private:
  rlimit before_{};
  void (*signal_)(int);
};

}  // namespace

TEST_CASE("after a kill -9 of the writer everything flushed is there, and nothing else") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937_64 random{seed};
  for (int trial = 0; trial < 10; ++trial) {
    CAPTURE(trial);
    Folder folder;
    const auto stream_seed = random();
    int ends[2];
    REQUIRE(pipe(ends) == 0);
    const auto child = fork();
    REQUIRE(child >= 0);
    if (child == 0) record_for_ever(folder / "journal", stream_seed, ends[1]);
    close(ends[1]);
    std::uint32_t told = 0, last = 0;
    for (auto left = 1 + random() % 150; left > 0; --left) REQUIRE(read(ends[0], &told, sizeof told) == sizeof told);
    REQUIRE(kill(child, SIGKILL) == 0);
    int status = 0;
    REQUIRE(waitpid(child, &status, 0) == child);
    REQUIRE(WIFSIGNALED(status));
    while (read(ends[0], &last, sizeof last) == sizeof last) told = last;
    close(ends[0]);

    const auto capture = JournalCapture::open(folder / "journal");
    REQUIRE(capture);
    CHECK_FALSE((*capture)->ended());
    for (const auto& l : (*capture)->losses()) CHECK(l.why.find("the file ends within") != std::string::npos);
    const auto kept = read_all(**capture);
    CHECK(kept.ticks.size() >= told);
    CHECK(kept.ticks.size() <= told + 2 * block_ms);  // one flush may have gone by unannounced
    CHECK(kept.samples.size() == 4 * kept.ticks.size());

    std::map<SignalIndex, std::vector<Sample>> written, read;
    std::mt19937_64 same_stream{stream_seed};
    for (std::uint32_t n = 0; n < kept.ticks.size(); ++n)
      for (const auto& r : millisecond(n, same_stream))
        if (r.kind == Record::Kind::sample) written[r.sample.signal].push_back(r.sample);
    for (const auto& s : kept.samples) read[s.signal].push_back(s);
    for (const auto& [signal, column] : written)
      REQUIRE(std::equal(column.begin(), column.end(), read[signal].begin(), read[signal].end(),
                         [](const Sample& a, const Sample& b) { return same(a, b); }));
  }
}

TEST_CASE(
    "a full disk is an error; what stands before stays readable, and once there is room a gap tells what is missing") {
  std::mt19937_64 random{1};
  Folder folder;
  std::uint64_t put = 0, failures = 0;
  std::string sentence;
  {
    SmallDisk disk{40000};
    auto writer = JournalWriter::create(folder / "journal", small_header());
    REQUIRE(writer);
    const auto block = [&](std::uint32_t number) {
      for (std::uint32_t n = 0; n < block_ms; ++n)
        for (const auto& r : millisecond(number * block_ms + n, random)) {
          REQUIRE(writer->put(r));
          ++put;
        }
      const auto flushed = writer->flush();
      if (flushed) return;
      ++failures;
      CHECK(flushed.error().fault == Fault::storage);
      CHECK(flushed.error().os == std::errc::file_too_large);
      sentence = flushed.error().context;
    };
    std::uint32_t number = 0;
    while (failures == 0) block(number++);
    CHECK(sentence.find("segment-0001.trj") != std::string::npos);
    CHECK(sentence.find("free space") != std::string::npos);
    disk.resize(100);  // no new segment either
    block(number++);
    block(number++);
    CHECK(failures == 3);
    disk.resize(1 << 20);
    for (int i = 0; i < 5; ++i) block(number++);
    CHECK(failures == 3);
    CHECK(writer->records_lost() == 3 * block_ms * 5);
    REQUIRE(writer->end(at(9s), "finished"));
  }
  const auto capture = JournalCapture::open(folder / "journal");
  REQUIRE(capture);
  const auto kept = read_all(**capture);
  CHECK(kept.samples.size() + kept.ticks.size() + 3 * block_ms * 5 == put);
  std::uint64_t told = 0;
  for (const auto& g : (*capture)->gaps()) told += g.count;
  CHECK(told == 3 * block_ms * 5);
  CHECK((*capture)->timing().missed == 0);
  REQUIRE((*capture)->ended());
  CHECK((*capture)->ended()->samples == kept.samples.size());
}

TEST_CASE("an archive that does not fit is an error and leaves no file") {
  std::mt19937_64 random{1};
  Folder folder;
  auto writer = JournalWriter::create(folder / "journal", small_header());
  REQUIRE(writer);
  for (std::uint32_t n = 0; n < 5000; ++n)
    for (const auto& r : millisecond(n, random)) REQUIRE(writer->put(r));
  REQUIRE(writer->end(at(9s), "finished"));
  const auto capture = JournalCapture::open(folder / "journal");
  REQUIRE(capture);
  for (const rlim_t room : {100, 20000, 60000, 90000}) {
    CAPTURE(room);
    const SmallDisk disk{room};
    const auto archived = write_archive(**capture, folder / "capture.h5");
    REQUIRE_FALSE(archived);
    CHECK(archived.error().fault == Fault::storage);
    CHECK(archived.error().context.find("free space") != std::string::npos);
    CHECK_FALSE(std::filesystem::exists(folder / "capture.h5"));
    CHECK_FALSE(std::filesystem::exists(folder / "capture.h5.part"));
  }
  REQUIRE(write_archive(**capture, folder / "capture.h5"));
  CHECK(std::filesystem::file_size(folder / "capture.h5") > 90000);
}

TEST_CASE("a journal never goes into a folder that holds one") {
  Folder folder;
  { REQUIRE(JournalWriter::create(folder / "journal", small_header())); }
  const auto before = read_file(folder / "journal/segment-0001.trj");
  const auto again = JournalWriter::create(folder / "journal", small_header());
  REQUIRE_FALSE(again);
  CHECK(again.error().fault == Fault::storage);
  CHECK(read_file(folder / "journal/segment-0001.trj") == before);
}

TEST_CASE("an event that must be on disk before it is acted on is readable at once, after what came before it") {
  std::mt19937_64 random{1};
  Folder folder;
  auto writer = JournalWriter::create(folder / "journal", small_header());
  REQUIRE(writer);
  for (const auto& r : millisecond(0, random)) REQUIRE(writer->put(r));
  CHECK(writer->unsynced() > 0s);
  REQUIRE(writer->event_on_disk({at(5s + 1ms), 0.0, 3, 0, EventKind::step_announced}));
  CHECK(writer->unsynced() == 0s);
  const auto capture = JournalCapture::open(folder / "journal");
  REQUIRE(capture);
  CHECK((*capture)->sample_count() == 4);
  REQUIRE((*capture)->events().size() == 1);
  CHECK((*capture)->events()[0].kind == EventKind::step_announced);
}
