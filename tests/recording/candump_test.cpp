// CAN buses as candump of can-utils logs them: lines that its own tools write, and frames decoded as on a live bus.

#include <sstream>

#include "harness/recording/candump_line.hpp"
#include "tests/recording/described.hpp"
#include "tests/recording/python.hpp"

using namespace trackrod;
using namespace trackrod::test;

namespace {

std::string data_of(const CandumpLine& line) {
  return hex({reinterpret_cast<const char*>(line.frame.data.data()), line.frame.data.size()});
}

std::string marks_of(const CanFrame& f) {
  return std::string{f.extended ? "x" : ""} + (f.remote ? "r" : "") + (f.error ? "e" : "") + (f.fd ? "f" : "") +
         (f.bit_rate_switch ? "b" : "") + (f.error_passive ? "p" : "");
}

const std::string frames = R"({"unit": {"kind": "frames",
  "receive": {"status": {"length": 4, "can": {"id": "0x120"}, "counter": {"start": 16, "bits": 8},
                         "checksum": {"kind": "XOR-8", "at": 3},
                         "fields": {"angle": {"start": 0, "bits": 16, "signed": true, "scale": 0.1}}},
              "wide": {"length": 12, "can": {"id": "0x18FF0001", "extended": true, "fd": true},
                       "fields": {"force": {"start": 0, "bits": 32, "float": true}}}},
  "send": {"command": {"length": 2, "cycle": "10 ms", "can": {"id": "0x121"},
                       "fields": {"angle_cmd": {"start": 0, "bits": 16, "signed": true, "scale": 0.1}}}}}})";
std::string described(const std::string& more = "") {
  return R"({"import": "bus", "kind": "candump", "stamp_uncertainty": "0.1 ms", "frames": )" + frames +
         R"(, "signals": {
    "road.angle": {"field": "angle", "unit": "deg", "calibration": {"offset": "1 deg", "u": "0.1 deg", "date": "2026-01-01"}},
    "road.force": {"field": "force", "field_unit": "N", "unit": "kN"},
    "road.command": {"field": "angle_cmd", "unit": "deg"}})" +
         more + "}";
}

// A status frame of 4 bytes in the log format.
std::string status(const std::string& time, int angle, int counter, int flip = 0) {
  const int low = angle & 0xFF, high = (angle >> 8) & 0xFF;
  char text[80];
  std::snprintf(text, sizeof text, "(%s) can0 120#%02X%02X%02X%02X\n", time.c_str(), low, high, counter,
                low ^ high ^ counter ^ flip);
  return text;
}

}  // namespace

TEST_CASE("lines of candump are read in each of its formats", "[candump]") {
  struct Case {
    const char* text;
    std::int64_t ns;
    bool dated;
    const char* interface;
    std::uint32_t id;
    const char* marks;  // x: 29 bits, r: remote, e: error, f: FD, b: its bit rate is switched, p: error-passive
    const char* data;
  };
  // As documented for candump, log2asc and asc2log of can-utils; identifiers and data are made up.
  const auto c = GENERATE(values<Case>({
      {"(1436509052.249713) vcan0 044#2A366C2BBA", 1436509052'249713000, true, "vcan0", 0x44, "", "2a366c2bba"},
      {"(0.000100) can1 7FF#", 100'000, false, "can1", 0x7FF, "", "-"},
      {"(1.5) can0 1F334455#1122334455667788 R", 1'500'000'000, false, "can0", 0x1F334455, "x", "1122334455667788"},
      {"(1.5) can0 00000123#11.22.33", 1'500'000'000, false, "can0", 0x123, "x", "112233"},
      {"(1.5) can0 123#R4", 1'500'000'000, false, "can0", 0x123, "r", "-"},
      {"(1.5) can0 123#1122334455667788_E", 1'500'000'000, false, "can0", 0x123, "", "1122334455667788"},
      {"(1.5) can0 20000080#0000000000000000", 1'500'000'000, false, "can0", 0x80, "e", "0000000000000000"},
      {"(1.5) can0 123##0AABB", 1'500'000'000, false, "can0", 0x123, "f", "aabb"},
      {"(1.5) can0 123##3AABB T", 1'500'000'000, false, "can0", 0x123, "fbp", "aabb"},
      {" (1436509052.249713)  can0  044   [5]  2A 36 6C 2B BA", 1436509052'249713000, true, "can0", 0x44, "",
       "2a366c2bba"},
      {" (000.000123)  can0  1F334455   [2]  11 22", 123'000, false, "can0", 0x1F334455, "x", "1122"},
      {" (2026-11-26 10:00:00.500000)  can0  123   [1]  07   '.'", 1'795'687'200'500'000'000, true, "can0", 0x123, "",
       "07"},
      {" (0.1)  can0  123  [12]  00 01 02 03 04 05 06 07 08 09 0A 0B", 100'000'000, false, "can0", 0x123, "f",
       "000102030405060708090a0b"},
      {" (0.1)  can0  RX B -  123  [02]  AA BB", 100'000'000, false, "can0", 0x123, "fb", "aabb"},
      {" (0.1)  can0  123   [0]  remote request", 100'000'000, false, "can0", 0x123, "r", "-"},
      {" (0.1)  can0  20000004   [8]  00 04 00 00 00 00 00 00   ERRORFRAME", 100'000'000, false, "can0", 0x4, "e",
       "0004000000000000"},
  }));
  CAPTURE(c.text);
  CandumpLine line;
  REQUIRE(read_candump_line(c.text, line) == "");
  CHECK(line.ns == c.ns);
  CHECK(line.dated == c.dated);
  CHECK(line.interface == c.interface);
  CHECK(line.frame.id == c.id);
  CHECK(marks_of(line.frame) == c.marks);
  CHECK(data_of(line) == c.data);
}

TEST_CASE("what is no line of candump is none, and says why", "[candump]") {
  for (const auto& [text, why] : {std::pair{"can0  123   [1]  11", "no time in brackets"},
                                  {"(yesterday) can0 123#11", "found 'yesterday' as time"},
                                  {"(1.0)", "no interface behind the time"},
                                  {"(1.0) can0 12#11", "found '12' as identifier"},
                                  {"(1.0) can0 12G#11", "found '12G' as identifier"},
                                  {"(1.0) can0 123#1", "found '1' as data"},
                                  {"(1.0) can0 123#1G", "found '1G' as data"},
                                  {"(1.0) can0 123##", "no flags behind '##'"},
                                  {"(1.0) can0 123#112233445566778899", "a frame that CAN does not have"},
                                  {"(1.0) can0 FFF#11", "a frame that CAN does not have"},
                                  {"(1.0) can0 123 11 22", "no length in brackets"},
                                  {"(1.0) can0 123 [] 11", "no length in brackets"},
                                  {"(1.0) can0 123 [3] 11 22", "found '' as data; allowed: 3 bytes"}}) {
    CAPTURE(text);
    CandumpLine line;
    const auto told = read_candump_line(text, line);
    CAPTURE(told);
    CHECK(told.find(why) == 0);
  }
}

TEST_CASE("a log that went through the tools of can-utils and back is read alike", "[candump]") {
  const Scratch scratch;
  std::string log;
  for (int i = 0; i < 50; ++i) {
    char line[80];
    std::snprintf(line, sizeof line, "(%d.%06d) can%d %s#%02X%02XAB\n", 10 + i / 10, 1000 * i, i % 2,
                  i % 3 == 0 ? "18FF0001" : "120", i, 255 - i);
    log += line;
  }
  const auto read_all = [](const std::string& text) {
    std::string all;
    for (std::size_t at = 0; at < text.size();) {
      const auto end = text.find('\n', at);
      CandumpLine line;
      const auto wrong = read_candump_line(std::string_view{text}.substr(at, end - at), line);
      all += wrong + std::to_string(line.ns) + " " + std::to_string(line.frame.id) + " " + data_of(line) + "\n";
      at = end + 1;
    }
    return all;
  };
  const auto file = scratch.write("bus.log", log);
  const auto back = output_of("log2asc -I " + file + " can0 can1 2>&1 | asc2log 2>&1 | grep -v -i -e locale -e date");
  // Without the date line log2asc counts from its first frame, and asc2log puts that date in front again: compare
  // differences.
  CHECK(std::count(back.begin(), back.end(), '\n') == 50);
  std::string theirs, ours;
  for (auto* out : {&theirs, &ours}) {
    const auto all = read_all(out == &theirs ? back : log);
    std::istringstream lines{all};
    std::int64_t first = -1, ns = 0;
    for (std::string rest; lines >> ns && std::getline(lines, rest);) {
      if (first < 0) first = ns;
      *out += std::to_string((ns - first) / 100'000) + rest + "\n";  // log2asc keeps a tenth of a millisecond
    }
  }
  CHECK(ours == theirs);
}

TEST_CASE("fields of recorded frames become samples, in both directions", "[candump]") {
  const auto d = description_of(described());
  const auto r =
      read(*d, status("1795687200.000000", 300, 1) + "(1795687200.001) can0 121#9CFF\n" +
                   "(1795687200.002) can0 18FF0001##10000FA440000000000000000\n" + status("1795687200.010000", -50, 2));
  REQUIRE(r.wrong.empty());
  CHECK(r.counts.wall_of_zero == 1'795'687'200'000'000'000);
  REQUIRE(r.kept.of(0).size() == 2);
  CHECK(r.kept.of(0)[0] == Approx(31.0));  // 300 x 0.1 deg, and 1 deg by its calibration
  CHECK(r.kept.of(0)[1] == Approx(-4.0));
  CHECK(r.kept.values.at(0)[1].ns == 10'000'000);
  CHECK(r.kept.of(1) == std::vector<double>{2.0});  // 0x44FA0000 is 2000 in IEEE 754
  REQUIRE(r.kept.of(2).size() == 1);
  CHECK(r.kept.of(2)[0] == Approx(-10.0));
  CHECK(r.counts.rows == 4);
  CHECK(r.counts.notes().empty());
}

TEST_CASE("frames that are refused are counted, and those of others too", "[candump]") {
  const auto d = description_of(described(R"(, "interface": "can0")"));
  const auto r =
      read(*d, status("1.000", 1, 1) + status("1.010", 2, 2, 0xFF) + status("1.020", 3, 5) + status("1.030", 3, 5) +
                   "(1.040) can0 120#11\n(1.041) can0 555#11\n(0.5) can1 120#11223344\n" +
                   "(1.042) can0 120#R\n(1.043) can0 20000080#0000000000000000\n\n");
  REQUIRE(r.wrong.empty());
  CHECK(r.kept.of(0).size() == 2);
  CHECK(r.counts.notes() == std::vector<std::string>{
                                "1 blank line", "1 error frame of the bus", "1 remote request, not read",
                                "2 frames of others, which the description does not know",
                                "frames of 'unit' that gave no sample: 1 with a wrong checksum, 1 of a wrong length or "
                                "kind, 3 missing by the alive counter, 1 repeated by the alive counter"});
}

TEST_CASE("stamps that are differences are added up", "[candump]") {
  const auto d = description_of(described(R"(, "stamps": "delta")"));
  const auto r = read(*d, status("000.000000", 1, 1) + status("000.010000", 2, 2) + "(000.002000) can0 555#11\n" +
                              status("000.008000", 3, 3));
  REQUIRE(r.wrong.empty());
  CHECK(r.kept.rows == std::vector<std::int64_t>{0, 10'000'000, 20'000'000});
  CHECK(read(*d, status("9000000000.0", 1, 1) + status("9000000000.0", 1, 2))
            .wrong.find("line 1: found '9000000000.0' as time") == 0);
  CHECK(read(*d, status("4000000000.0", 1, 1) + status("4000000000.0", 1, 2) + status("4000000000.0", 1, 3))
            .wrong.find("line 3: the times add up to too much") == 0);
}

TEST_CASE("a log that cannot be read is refused with its line", "[candump]") {
  const auto d = description_of(described());
  CHECK(read(*d, "").wrong == "the file holds no frame that the description knows");
  CHECK(read(*d, "(1.0) can0 555#11\n").wrong == "the file holds no frame that the description knows");
  CHECK(read(*d, status("1.0", 1, 1) + "(1.1) can0 120#1\n").wrong.find("line 2: found '1' as data") == 0);
  CHECK(read(*d, status("1.0", 1, 1) + status("0.9", 1, 2)).wrong.find("line 2: the time goes back by 0.1 s") == 0);
  const auto lenient = description_of(described(R"(, "bad_rows": "leave_out")"));
  const auto r = read(*lenient, status("1.0", 1, 1) + "(1.1) can0 120#1\n" + status("1.2", 1, 2));
  CHECK(r.wrong.empty());
  CHECK(r.counts.left_out == 1);
}
