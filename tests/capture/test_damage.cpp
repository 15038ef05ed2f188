#include <cstring>
#include <set>

#include "tests/capture/helpers.hpp"
#include "tests/catch.hpp"

using namespace trackrod;
using namespace trackrod::test;

namespace {

// A frame as it lies in the file, found by its length field alone.
struct Placed {
  std::size_t offset, size, samples;
};

// A small journal, what went into it, and where its frames are.
struct Small {
  std::vector<std::vector<Sample>> blocks;  // in the order in which a block gives them back: by signal
  std::string header, bytes;                // the first frame, and all
  std::vector<Placed> frames;

  // What is left when only `kept` frames (by number) can be read.
  std::vector<Sample> samples(const std::set<std::size_t>& kept) const {
    std::vector<Sample> all;
    for (std::size_t i = 0; i < blocks.size(); ++i)
      if (kept.count(i + 1) != 0) all.insert(all.end(), blocks[i].begin(), blocks[i].end());
    return all;
  }
};

Small make_small(const Folder& folder, std::uint64_t seed, std::size_t blocks) {
  std::mt19937_64 random{seed};
  Small small;
  {
    auto writer = JournalWriter::create(folder / "original", small_header());
    if (!writer) throw std::runtime_error{writer.error().context};
    for (std::uint32_t b = 0; b < blocks; ++b) {
      std::vector<std::vector<Sample>> columns(4);
      for (std::uint32_t n = 0; n < 3; ++n)
        for (const auto& r : millisecond(3 * b + n, random)) {
          if (!writer->put(r)) throw std::runtime_error{"put"};
          if (r.kind == Record::Kind::sample) columns[r.sample.signal].push_back(r.sample);
        }
      if (!writer->flush()) throw std::runtime_error{"flush"};
      auto& block = small.blocks.emplace_back();
      // Signals 0 and 1 share their stamps and stand together, as they do in order anyway.
      for (const auto& c : columns) block.insert(block.end(), c.begin(), c.end());
    }
  }
  small.bytes = read_file(folder / "original/segment-0001.trj");
  for (std::size_t at = 0; at < small.bytes.size();) {
    std::uint32_t length = 0;
    std::memcpy(&length, small.bytes.data() + at + 8, 4);
    small.frames.push_back({at, 28 + length, small.frames.empty() ? 0U : 12U});
    at += 28 + length;
  }
  small.header = small.bytes.substr(0, small.frames[0].size);
  return small;
}

bool same_samples(const std::vector<Sample>& a, const std::vector<Sample>& b) {
  return std::equal(a.begin(), a.end(), b.begin(), b.end(),
                    [](const Sample& x, const Sample& y) { return same(x, y); });
}

std::string journal_of(const Folder& folder, const std::string& bytes) {
  const auto dir = folder / "damaged";
  std::filesystem::create_directories(dir);
  write_file(dir + "/segment-0001.trj", bytes);
  return dir;
}

}  // namespace

TEST_CASE("a journal cut off at any byte gives every sample before the cut and says what the cut took") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  Folder folder;
  const auto small = make_small(folder, seed, 8);
  REQUIRE(small.frames.size() == 9);
  for (std::size_t cut = 0; cut <= small.bytes.size(); ++cut) {
    CAPTURE(cut);
    const auto capture = JournalCapture::open(journal_of(folder, small.bytes.substr(0, cut)));
    if (cut < small.header.size()) {
      REQUIRE_FALSE(capture);
      REQUIRE(capture.error().fault == Fault::storage);
      REQUIRE(capture.error().context.find("no stream header") != std::string::npos);
      continue;
    }
    REQUIRE(capture);
    std::set<std::size_t> whole;
    std::size_t good_to = 0;
    for (std::size_t i = 0; i < small.frames.size(); ++i) {
      const auto end = small.frames[i].offset + small.frames[i].size;
      if (end <= cut) whole.insert(i), good_to = end;
    }
    REQUIRE((*capture)->sample_count() == 12 * (whole.size() - 1));
    REQUIRE(same_samples(read_all(**capture).samples, small.samples(whole)));
    REQUIRE_FALSE((*capture)->ended());
    const auto& losses = (*capture)->losses();
    REQUIRE(losses.size() == (cut == good_to ? 0 : 1));
    REQUIRE((*capture)->gaps().size() == losses.size());
    if (cut == good_to) continue;
    REQUIRE(losses[0].offset == good_to);
    REQUIRE(losses[0].bytes == cut - good_to);
    REQUIRE(losses[0].why.find("the file ends within") != std::string::npos);
  }
}

TEST_CASE("a flipped bit costs the frame it is in and no other") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937_64 random{seed};
  Folder folder;
  const auto small = make_small(folder, seed, 8);
  // A second segment repeats the stream header, so that the first can lose its own.
  const auto second = make_frame(FrameKind::header, small.frames.size(), to_json(small_header()));
  for (std::size_t byte = 0; byte < small.bytes.size(); ++byte) {
    auto bytes = small.bytes;
    bytes[byte] = static_cast<char>(bytes[byte] ^ (1 << (random() % 8)));
    CAPTURE(byte);
    const auto dir = journal_of(folder, bytes);
    write_file(dir + "/segment-0002.trj", second);
    const auto capture = JournalCapture::open(dir);
    REQUIRE(capture);
    std::set<std::size_t> whole;
    std::size_t hit = 0;
    for (std::size_t i = 0; i < small.frames.size(); ++i) {
      const auto& f = small.frames[i];
      if (byte >= f.offset && byte < f.offset + f.size) {
        hit = i;
      } else {
        whole.insert(i);
      }
    }
    REQUIRE(same_samples(read_all(**capture).samples, small.samples(whole)));
    const auto& losses = (*capture)->losses();
    REQUIRE(losses.size() == 1);
    REQUIRE(losses[0].offset == small.frames[hit].offset);
    REQUIRE(losses[0].bytes == small.frames[hit].size);
    REQUIRE(losses[0].first_missing == hit);
    REQUIRE(losses[0].missing == 1);
    // Its ticks are lost, not missed.
    REQUIRE((*capture)->timing().missed == 0);
  }
}

TEST_CASE("bytes torn out, overwritten or put in cost the frames they touch and no other") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937_64 random{seed};
  Folder folder;
  const auto small = make_small(folder, seed, 40);
  const auto first = small.header.size();
  for (int trial = 0; trial < 300; ++trial) {
    const auto from = first + random() % (small.bytes.size() - first);
    const auto to = std::min<std::size_t>(small.bytes.size(), from + 1 + random() % 400);
    std::string junk;
    const auto kind = random() % 4;
    if (kind == 1) junk = std::string(to - from, '\0');
    if (kind >= 2)
      for (auto n = kind == 2 ? to - from : 1 + random() % 900; junk.size() < n;)
        junk.push_back(static_cast<char>(random()));
    // Junk that looks like the start of a frame, and one that is a frame but for its last byte.
    if (kind == 3 && junk.size() > 4) junk.replace(junk.size() / 2, 4, "TRJ\xF5");
    if (kind == 3 && random() % 2 == 0)
      junk += small.bytes.substr(small.frames[3].offset, small.frames[3].size - 1) +
              static_cast<char>(small.bytes[small.frames[3].offset + small.frames[3].size - 1] ^ 0x55);
    const auto bytes = small.bytes.substr(0, from) + junk + small.bytes.substr(kind == 3 ? from : to);
    if (bytes == small.bytes) continue;
    CAPTURE(trial, kind, from, to);
    std::set<std::size_t> whole;
    for (std::size_t i = 0; i < small.frames.size(); ++i) {
      // Whole is what stands where it stood, or moved by what was put in or torn out: a tear may give a frame back its
      // last byte.
      const auto frame = small.bytes.substr(small.frames[i].offset, small.frames[i].size);
      const auto moved = small.frames[i].offset + bytes.size() - small.bytes.size();
      if ((small.frames[i].offset < bytes.size() && bytes.compare(small.frames[i].offset, frame.size(), frame) == 0) ||
          (moved < bytes.size() && bytes.compare(moved, frame.size(), frame) == 0))
        whole.insert(i);
    }
    const auto capture = JournalCapture::open(journal_of(folder, bytes));
    REQUIRE(capture);
    REQUIRE(same_samples(read_all(**capture).samples, small.samples(whole)));
    std::uint64_t missing = 0;
    std::size_t last = 0;
    for (const auto i : whole) last = i;
    for (const auto& l : (*capture)->losses()) missing += l.missing;
    CHECK(missing == last + 1 - whole.size());
    // Bytes torn out exactly at the end leave no trace but the end frame that is missing.
    if (to < small.bytes.size() || !junk.empty()) CHECK_FALSE((*capture)->losses().empty());
  }
}

TEST_CASE("a segment that is gone is told by the numbers of the missing frames") {
  Folder folder;
  std::mt19937_64 random{1};
  {
    auto writer = JournalWriter::create(folder / "journal", small_header(), {1ULL << 30, 10ms});
    REQUIRE(writer);
    for (std::uint32_t n = 0; n < 50; ++n) {
      for (const auto& r : millisecond(n, random)) REQUIRE(writer->put(r));
      if (n % 5 == 4) REQUIRE(writer->flush());
    }
    REQUIRE(writer->end(at(6s), "finished"));
  }
  const auto whole = JournalCapture::open(folder / "journal");
  REQUIRE(whole);
  CHECK((*whole)->losses().empty());
  CHECK((*whole)->sample_count() == 200);
  REQUIRE(std::filesystem::exists(folder / "journal/segment-0003.trj"));
  REQUIRE(std::filesystem::remove(folder / "journal/segment-0002.trj"));
  const auto capture = JournalCapture::open(folder / "journal");
  REQUIRE(capture);
  REQUIRE((*capture)->losses().size() == 1);
  CHECK((*capture)->losses()[0].missing > 1);
  CHECK((*capture)->losses()[0].sentence().find("are missing") != std::string::npos);
  REQUIRE((*capture)->gaps().size() == 1);
  CHECK((*capture)->gaps()[0].from < (*capture)->gaps()[0].to);
  REQUIRE((*capture)->ended());
  CHECK((*capture)->ended()->samples == 200);
  CHECK((*capture)->sample_count() < 200);
}

TEST_CASE("frames that stand twice, or of a kind or version from the future, are passed over and told") {
  Folder folder;
  const auto small = make_small(folder, 7, 3);
  const auto frame = [&](std::size_t i) { return small.bytes.substr(small.frames[i].offset, small.frames[i].size); };
  const auto twice = JournalCapture::open(journal_of(folder, small.bytes + frame(2)));
  REQUIRE(twice);
  CHECK((*twice)->sample_count() == 36);
  REQUIRE((*twice)->losses().size() == 1);
  CHECK((*twice)->losses()[0].why.find("second time") != std::string::npos);

  const auto strange = make_frame(static_cast<FrameKind>(99), 4, "?") +
                       make_frame(FrameKind::note, 5, encode_note({at(9s), 0, "still here"}));
  const auto future = JournalCapture::open(journal_of(folder, small.bytes + strange));
  REQUIRE(future);
  REQUIRE((*future)->losses().size() == 1);
  CHECK((*future)->losses()[0].why.find("does not know") != std::string::npos);
  REQUIRE((*future)->notes().size() == 1);
  CHECK((*future)->notes()[0].text == "still here");
}

TEST_CASE("a payload with good checksums that does not decode is told and never half taken") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937_64 random{seed};
  Folder folder;
  const auto small = make_small(folder, seed, 1);
  const auto block = small.bytes.substr(small.frames[1].offset + 28);
  for (int trial = 0; trial < 3000; ++trial) {
    auto payload = block;
    for (auto flips = 1 + random() % 4; flips > 0; --flips)
      payload[random() % payload.size()] = static_cast<char>(random());
    if (random() % 3 == 0) payload.resize(random() % payload.size());
    const auto capture =
        JournalCapture::open(journal_of(folder, small.header + make_frame(FrameKind::block, 1, payload)));
    REQUIRE(capture);
    // Either it is a block, of whatever values, or it is a loss of one frame. Reading again finds the same.
    REQUIRE((*capture)->losses().size() == ((*capture)->sample_count() + (*capture)->timing().ticks == 0 ? 1 : 0));
    REQUIRE(read_all(**capture).samples.size() == (*capture)->sample_count());
  }
}

TEST_CASE("a block with stamps beyond the times that it states is told as a loss") {
  Folder folder;
  const auto small = make_small(folder, 7, 1);
  auto payload = small.bytes.substr(small.frames[1].offset + 28, small.frames[1].size - 28);
  std::int64_t to = 0;
  std::memcpy(&to, payload.data() + 8, sizeof to);
  for (const auto stated : {to, to - 1'000'000}) {
    std::memcpy(payload.data() + 8, &stated, sizeof stated);
    const auto capture =
        JournalCapture::open(journal_of(folder, small.header + make_frame(FrameKind::block, 1, payload)));
    REQUIRE(capture);
    CHECK((*capture)->losses().size() == (stated == to ? 0 : 1));
    CHECK(((*capture)->sample_count() > 0) == (stated == to));
  }
}

TEST_CASE("a folder without a journal is an error that says what to name") {
  Folder folder;
  const auto none = JournalCapture::open(folder / "nowhere");
  REQUIRE_FALSE(none);
  CHECK(none.error().fault == Fault::storage);
  const auto empty = JournalCapture::open(folder.path());
  REQUIRE_FALSE(empty);
  CHECK(empty.error().context.find("journal folder") != std::string::npos);
}

TEST_CASE("a journal that changes while it is open is an error, not fewer samples") {
  Folder folder;
  const auto small = make_small(folder, 7, 8);
  const auto capture = JournalCapture::open(folder / "original");
  REQUIRE(capture);
  auto bytes = small.bytes;
  bytes[small.frames[4].offset + 40] ^= 1;
  write_file(folder / "original/segment-0001.trj", bytes);
  const auto points = (*capture)->points(0, at(0s), at(100s));
  REQUIRE_FALSE(points);
  CHECK(points.error().context.find("no longer as it was") != std::string::npos);
}
