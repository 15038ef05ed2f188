// The archive, read by h5dump, h5py and Octave, which are not ours.
#include <hdf5.h>

#include <cstdlib>
#include <iomanip>
#include <limits>
#include <map>

#include "harness/capture/archive.hpp"
#include "tests/capture/helpers.hpp"
#include "tests/catch.hpp"

using namespace trackrod;
using namespace trackrod::test;

namespace {

// A journal with all that an archive can hold. More samples than one chunk.
std::unique_ptr<JournalCapture> make_journal(const Folder& folder, std::uint64_t seed) {
  std::mt19937_64 random{seed};
  auto header = small_header();
  header.signals[0].location = "hand wheel rim";
  header.signals[0].positive = "left turn";
  header.signals[0].bench_owned = true;
  header.signals[0].delay = 1250us;
  header.signals[0].calibration = {1.0002, -0.015, 0.02, 1e-4, "2026-05-04", "2027-05-04", "C-0417"};
  auto writer = JournalWriter::create(folder / "journal", header);
  if (!writer) throw std::runtime_error{writer.error().context};
  JournalSink sink{*writer};
  for (std::uint32_t n = 0; n < 20000; ++n) {
    const auto due = at(5s + n * 1ms);
    if (n == 1000) sink.put(Event{due, 0.0, 3, 1, EventKind::step_started});
    if (n == 9000) sink.put(Event{due, 1.0, 3, 1, EventKind::step_ended});
    if (n == 15000) sink.put(Event{due, std::numeric_limits<double>::quiet_NaN(), 2, 7, EventKind::tripped});
    for (auto r : millisecond(n, random)) {
      // A device that says "no value", and an instant that a double cannot hold.
      if (r.kind == Record::Kind::sample && n == 77) r.sample.value = std::numeric_limits<double>::quiet_NaN();
      if (r.kind == Record::Kind::sample && n == 78 && r.sample.signal == 0)
        r.sample.when = at(Duration{(1LL << 60) + 1});
      sink.put(r);
    }
  }
  if (!sink.outcome()) throw std::runtime_error{sink.outcome().error().context};
  (void)writer->gap({at(6s), at(7s), 42, "the ring was full"});
  (void)writer->note({at(8s), 0, "code 113, \"größer als erlaubt\""});
  (void)writer->end(at(25s), "finished");
  auto capture = JournalCapture::open(folder / "journal");
  if (!capture) throw std::runtime_error{capture.error().context};
  return std::move(*capture);
}

// What was written, for the scripts: a line a row, "column value value ...", times as whole numbers, doubles as their
// bits.
void write_expected(const JournalCapture& journal, const std::string& path) {
  std::map<std::string, std::ofstream> files;
  std::ofstream out{path};
  const auto kept = read_all(journal);
  for (std::size_t i = 0; i < journal.signals().size(); ++i)
    for (const auto& s : kept.samples)
      if (s.signal == i)
        out << journal.signals()[i].name << ' ' << s.when.time_since_epoch().count() << ' ' << std::hex << std::setw(16)
            << std::setfill('0') << std::bit_cast<std::uint64_t>(s.value) << std::dec << ' ' << static_cast<int>(s.by)
            << ' ' << s.uncertainty_ns << '\n';
}

int run(const std::string& command) { return std::system(command.c_str()); }

}  // namespace

TEST_CASE("h5py reads every sample, stamp and attribute of the archive as it was written") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  Folder folder;
  const auto journal = make_journal(folder, seed);
  const auto archived = write_archive(*journal, folder / "capture.h5");
  INFO((archived ? "" : archived.error().context));
  REQUIRE(archived);
  CHECK_FALSE(std::filesystem::exists(folder / "capture.h5.part"));
  write_expected(*journal, folder / "expected.txt");
  CHECK(run("/usr/bin/python3 " TRACKROD_SOURCE_DIR "/tests/capture/read_archive.py " + folder.path()) == 0);
}

TEST_CASE("Octave reads every stamp and value of the archive as it was written") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  Folder folder;
  const auto journal = make_journal(folder, seed);
  REQUIRE(write_archive(*journal, folder / "capture.h5"));
  write_expected(*journal, folder / "expected.txt");
  const auto status = run("octave-cli --norc --quiet " TRACKROD_SOURCE_DIR "/tests/capture/read_archive.m " +
                          folder.path() + " 2> " + (folder / "octave.txt"));
  INFO(read_file(folder / "octave.txt"));
  CHECK(status == 0);
}

TEST_CASE("h5dump prints the archive's values and units") {
  Folder folder;
  const auto journal = make_journal(folder, 4711);
  REQUIRE(write_archive(*journal, folder / "capture.h5"));
  REQUIRE(run("h5dump -d /signals/hand.angle/t_ns -s 0 -c 3 -y -w 1 " + (folder / "capture.h5") + " > " +
              (folder / "t.txt")) == 0);
  const auto text = read_file(folder / "t.txt");
  std::size_t found = 0;
  for (const auto& s : read_all(*journal).samples) {
    if (s.signal != 0 || ++found > 3) continue;
    CHECK(text.find(std::to_string(s.when.time_since_epoch().count())) != std::string::npos);
  }
  CHECK(found > 3);
  REQUIRE(run("h5dump -a /signals/hand.torque/unit " + (folder / "capture.h5") + " > " + (folder / "u.txt")) == 0);
  CHECK(read_file(folder / "u.txt").find("\"Nm\"") != std::string::npos);
  REQUIRE(run("h5dump " + (folder / "capture.h5") + " > " + (folder / "all.txt")) ==
          0);  // decodes and checks every chunk
}

TEST_CASE("an archive read back as a capture says what the journal says") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937_64 random{seed};
  Folder folder;
  const auto journal = make_journal(folder, seed);
  REQUIRE(write_archive(*journal, folder / "capture.h5"));
  const auto opened = Hdf5Capture::open(folder / "capture.h5");
  REQUIRE(opened);
  const auto& archive = **opened;
  CHECK(to_json(archive.header()) == to_json(journal->header()));
  CHECK(archive.begin() == journal->begin());
  CHECK(archive.end() == journal->end());
  REQUIRE(archive.spans().size() == 1);
  CHECK(archive.spans()[0].step == "sweep");
  CHECK(archive.spans()[0].complete);
  CHECK(archive.spans()[0].to == at(14s));
  REQUIRE(archive.events().size() == 3);
  CHECK(archive.events()[2].kind == EventKind::tripped);
  CHECK(archive.events()[2].b == 7);
  REQUIRE(archive.gaps().size() == 1);
  CHECK(archive.gaps()[0].count == 42);
  CHECK(archive.gaps()[0].why == "the ring was full");
  REQUIRE(archive.notes().size() == 1);
  CHECK(archive.notes()[0].text == "code 113, \"größer als erlaubt\"");
  CHECK(archive.timing().late_histogram == journal->timing().late_histogram);
  CHECK(archive.timing().ticks == 20000);
  CHECK(archive.timing().missed == journal->timing().missed);
  CHECK(archive.timing().late_p99 == journal->timing().late_p99);
  for (int trial = 0; trial < 40; ++trial) {
    const auto signal = static_cast<SignalIndex>(random() % 4);
    const auto from = at(5s + Duration{static_cast<std::int64_t>(random() % 20000000000)});
    const auto to = from + Duration{static_cast<std::int64_t>(random() % 5000000000)};
    const auto a = journal->points(signal, from, to), b = archive.points(signal, from, to);
    REQUIRE(a);
    REQUIRE(b);
    REQUIRE(std::equal(a->begin(), a->end(), b->begin(), b->end(), [](const Point& x, const Point& y) {
      return x.when == y.when && same_bits(x.value, y.value) && x.by == y.by && x.uncertainty_ns == y.uncertainty_ns;
    }));
  }
}

TEST_CASE("a flipped byte in a signal of the archive is an error of that signal and of no other") {
  Folder folder;
  const auto journal = make_journal(folder, 4711);
  const auto path = folder / "capture.h5";
  REQUIRE(write_archive(*journal, path));
  haddr_t where = 0;
  hsize_t size = 0;
  {
    const auto file = H5Fopen(path.c_str(), H5F_ACC_RDONLY, H5P_DEFAULT);
    const auto dataset = H5Dopen2(file, "/signals/rack.position/value", H5P_DEFAULT);
    const hsize_t first = 0;
    REQUIRE(H5Dget_chunk_info_by_coord(dataset, &first, nullptr, &where, &size) >= 0);
    H5Dclose(dataset);
    H5Fclose(file);
  }
  auto bytes = read_file(path);
  bytes[where + size / 2] = static_cast<char>(bytes[where + size / 2] ^ 0x10);
  write_file(path, bytes);
  const auto archive = Hdf5Capture::open(path);
  REQUIRE(archive);
  const auto bad = (*archive)->points(2, at(5s), at(6s));
  REQUIRE_FALSE(bad);
  CHECK(bad.error().fault == Fault::storage);
  CHECK(bad.error().context.find("rack.position") != std::string::npos);
  CHECK((*archive)->points(0, at(5s), at(6s)));
  CHECK((*archive)->points(2, at(23s), at(24s)));  // the second chunk
}

TEST_CASE("a file that is no archive, or of another version, is refused with the reason") {
  Folder folder;
  write_file(folder / "text.h5", "not HDF5 at all");
  CHECK_FALSE(Hdf5Capture::open(folder / "text.h5"));
  CHECK_FALSE(Hdf5Capture::open(folder / "nowhere.h5"));
  const auto journal = make_journal(folder, 1);
  REQUIRE(write_archive(*journal, folder / "capture.h5"));
  REQUIRE(run("/usr/bin/python3 -c \"import h5py; h5py.File('" + (folder / "capture.h5") +
              "', 'a').attrs.modify('format_version', 3)\"") == 0);
  const auto other = Hdf5Capture::open(folder / "capture.h5");
  REQUIRE_FALSE(other);
  CHECK(other.error().context.find("version 2") != std::string::npos);
}

TEST_CASE("an archive is not made from a journal that is damaged meanwhile") {
  Folder folder;
  const auto journal = make_journal(folder, 1);
  auto bytes = read_file(folder / "journal/segment-0001.trj");
  bytes[bytes.size() / 2] ^= 1;
  write_file(folder / "journal/segment-0001.trj", bytes);
  const auto archived = write_archive(*journal, folder / "capture.h5");
  REQUIRE_FALSE(archived);
  CHECK(archived.error().context.find("no longer as it was") != std::string::npos);
  CHECK_FALSE(std::filesystem::exists(folder / "capture.h5"));
}
