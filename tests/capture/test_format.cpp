// The worked example of docs/formats/journal.md, byte by byte: the page and the program cannot part company.
#include <cstdio>
#include <sstream>

#include "tests/capture/helpers.hpp"
#include "tests/catch.hpp"

using namespace trackrod;
using namespace trackrod::test;

namespace {

// The fenced parts of the page that are marked with `language`.
std::vector<std::string> fenced(const std::string& language) {
  std::istringstream page{read_file(TRACKROD_SOURCE_DIR "/docs/formats/journal.md")};
  std::vector<std::string> parts;
  bool inside = false;
  for (std::string line; std::getline(page, line);) {
    if (line == "```" + language) {
      parts.emplace_back();
      inside = true;
    } else if (line == "```") {
      inside = false;
    } else if (inside) {
      parts.back() += line + "\n";
    }
  }
  return parts;
}

std::string bytes_of_listing(const std::string& listing) {
  std::istringstream lines{listing};
  std::string bytes;
  for (std::string line; std::getline(lines, line);) {
    std::istringstream hex{line.substr(0, line.find('|'))};
    for (std::string two; hex >> two;) bytes.push_back(static_cast<char>(std::stoi(two, nullptr, 16)));
  }
  return bytes;
}

StreamHeader example_header() {
  StreamHeader h;
  h.run_id = "example";
  h.config_hash = "none";
  h.tick = 1ms;
  h.clock = {at(1s), 1795608000000000000};
  SignalInfo angle;
  angle.name = "hand.angle";
  angle.unit = "deg";
  angle.device = "wheel";
  angle.clock = "wheel";
  angle.location = "hand wheel rim";
  angle.positive = "left turn";
  angle.bench_owned = true;
  angle.resolution = 0.125;
  SignalInfo torque = angle;
  torque.name = "hand.torque";
  torque.unit = "Nm";
  torque.resolution = 0.0;
  h.signals = {angle, torque};
  h.steps = {{3, "sweep"}};
  h.devices = {"wheel"};
  return h;
}

std::vector<Record> example_records() {
  std::vector<Record> records;
  const std::vector<Duration> stamps{1s, 1s + 1000250ns, 1s + 2ms};
  const double angles[] = {1.0, 1.125, 1.125};
  for (std::size_t i = 0; i < 3; ++i) {
    records.emplace_back(Sample{at(stamps[i]), angles[i], 5000, 0, StampedBy::kernel});
    records.emplace_back(Sample{at(stamps[i]), 0.5, 5000, 1, StampedBy::kernel});
  }
  records.emplace_back(Tick{at(1s + 2ms), 41, 12000, 85000, 900000});
  records.emplace_back(Event{at(1s + 2ms), 1.0, 3, 0, EventKind::step_ended});
  return records;
}

}  // namespace

TEST_CASE("the checksum is CRC32C") {
  // RFC 3720, appendix B.4 (32 bytes of zeros, of ones, counting up; the RFC prints the bytes lowest first), and the
  // check value of the catalogue of parametrised CRC algorithms for CRC-32C (iSCSI): E3069283.
  const std::string digits = "123456789", zeros(32, '\0'), ones(32, '\xFF');
  std::string up(32, '\0');
  for (std::size_t i = 0; i < up.size(); ++i) up[i] = static_cast<char>(i);
  const auto crc = [](const std::string& s) {
    return crc32c({reinterpret_cast<const std::uint8_t*>(s.data()), s.size()});
  };
  CHECK(crc(digits) == 0xE3069283);
  CHECK(crc(zeros) == 0x8A9136AA);
  CHECK(crc(ones) == 0x62A8AB43);
  CHECK(crc(up) == 0x46DD794E);
}

TEST_CASE("the writer makes the bytes of the format page's worked example") {
  const auto listings = fenced("trj");
  REQUIRE(listings.size() == 3);
  Folder folder;
  auto writer = JournalWriter::create(folder / "journal", example_header());
  REQUIRE(writer);
  for (const auto& r : example_records()) REQUIRE(writer->put(r));
  REQUIRE(writer->flush());
  const auto written = read_file(folder / "journal/segment-0001.trj");
  const auto header_frame = make_frame(FrameKind::header, 0, to_json(example_header()));
  REQUIRE(written.substr(0, header_frame.size()) == header_frame);
  CHECK(written.substr(header_frame.size()) == bytes_of_listing(listings[0]) + bytes_of_listing(listings[1]));
  RunEnd end{at(1s + 2ms), 6, 1, 1, 1s, "finished"};
  CHECK(make_frame(FrameKind::end, 3, encode_end(end)) == bytes_of_listing(listings[2]));
}

TEST_CASE("the reader takes the worked example from the page and finds what the page says") {
  const auto listings = fenced("trj");
  const auto json = fenced("json");
  REQUIRE(listings.size() == 3);
  REQUIRE(json.size() == 1);
  Folder folder;
  std::filesystem::create_directory(folder / "journal");
  auto bytes = make_frame(FrameKind::header, 0, json[0]);
  for (const auto& l : listings) bytes += bytes_of_listing(l);
  write_file(folder / "journal/segment-0001.trj", bytes);

  const auto capture = JournalCapture::open(folder / "journal");
  REQUIRE(capture);
  CHECK((*capture)->losses().empty());
  CHECK((*capture)->gaps().empty());
  CHECK(to_json((*capture)->header()) == to_json(example_header()));
  const auto kept = read_all(**capture);
  REQUIRE(kept.samples.size() == 6);
  const auto expected = example_records();
  for (std::size_t i = 0; i < 3; ++i) {
    CHECK(same(kept.samples[i], expected[2 * i].sample));
    CHECK(same(kept.samples[i + 3], expected[2 * i + 1].sample));
  }
  REQUIRE(kept.ticks.size() == 1);
  CHECK(same(kept.ticks[0], expected[6].tick));
  REQUIRE((*capture)->events().size() == 1);
  CHECK((*capture)->events()[0].kind == EventKind::step_ended);
  CHECK((*capture)->events()[0].a == 3);
  REQUIRE((*capture)->ended());
  CHECK((*capture)->ended()->samples == 6);
  CHECK((*capture)->ended()->longest_unsynced == 1s);
  CHECK((*capture)->ended()->why == "finished");
}
