// A bench of several files.

#include <unistd.h>

#include <filesystem>

#include "tests/bench/demo.hpp"
#include "tests/catch.hpp"

using namespace trackrod;
using namespace trackrod::test;
namespace fs = std::filesystem;

namespace {

// A folder of files that goes when the test ends.
class Folder {
 public:
  Folder() : path_{fs::temp_directory_path() / ("trackrod-bench-" + std::to_string(getpid()))} {
    fs::create_directories(path_);
  }
  ~Folder() { fs::remove_all(path_); }
  Folder(const Folder&) = delete;
  Folder& operator=(const Folder&) = delete;
  std::string put(const std::string& name, const std::string& text) const {
    fs::create_directories((path_ / name).parent_path());
    std::ofstream{path_ / name, std::ios::binary} << text;
    return (path_ / name).string();
  }
  std::string at(const std::string& name) const { return (path_ / name).string(); }

 private:
  fs::path path_;
};

struct Cut {
  std::string without, object;  // the text without the member, and the member's value
};
Cut cut(const std::string& text, const std::string& key) {
  const auto from = text.find("  \"" + key + "\": {");
  REQUIRE(from != std::string::npos);
  const auto end = text.find("\n  },", from);
  REQUIRE(end != std::string::npos);
  const auto value = text.find('{', from);
  return {text.substr(0, from) + text.substr(end + 5), text.substr(value, end + 4 - value)};
}

// The demo bench in three files: devices and signals included.
struct Split {
  std::string bench, devices, signals;
};
Split split() {
  const auto devices = cut(demo_text(), "devices");
  auto signals = cut(devices.without, "signals");
  const std::string name{"\"bench\": \"demo\","};
  signals.without.insert(signals.without.find(name),
                         "\"include\": [\"parts/devices.json\", \"parts/signals.json\"],\n  ");
  return {signals.without, "{\"devices\": " + devices.object + "}",
          "// signals\n{\"signals\": " + signals.object + "}"};
}

}  // namespace

TEST_CASE("a bench in several files is the same bench") {
  const Folder folder;
  const auto parts = split();
  folder.put("parts/devices.json", parts.devices);
  folder.put("parts/signals.json", parts.signals);
  const auto sources = load_bench_sources(folder.put("bench.json", parts.bench));
  REQUIRE(sources);
  REQUIRE(sources->size() == 3);
  CHECK(sources->at(0).second == parts.bench);
  CHECK(sources->at(1).first == folder.at("parts/devices.json"));
  const auto read = parse(*sources);
  INFO(read.sentences());
  REQUIRE(read.bench);
  CHECK(read.bench->file == folder.at("bench.json"));
  CHECK(read.bench->signal_names() == parse(demo_text()).bench->signal_names());
}

TEST_CASE("a mistake in an included file is told with that file's name") {
  auto parts = split();
  parts.signals.replace(parts.signals.find("\"Nm\""), 4, "\"Mn\"");
  const auto read = parse(Sources{{"bench.json", parts.bench}, {"d.json", parts.devices}, {"s.json", parts.signals}});
  INFO(read.sentences());
  REQUIRE_FALSE(read.problems.empty());
  CHECK(read.problems.front().at.file == "s.json");
  CHECK(read.problems.front().at.path == "/signals/hand.torque/unit");
}

TEST_CASE("a name that stands in two files is told at the second, and an included file includes nothing more") {
  const auto parts = split();
  const auto twice = parse(Sources{
      {"bench.json", parts.bench}, {"d.json", parts.devices}, {"s.json", parts.signals}, {"t.json", parts.signals}});
  REQUIRE(twice.problems.size() == 23);  // every signal
  for (const auto& p : twice.problems) {
    CHECK(p.at.file == "t.json");
    CHECK(p.found.find("a second signal") != std::string::npos);
    CHECK(p.advice.find("s.json, line") != std::string::npos);
  }
  const auto nested = parse(Sources{{"bench.json", demo_text()}, {"n.json", "{\"include\": []}"}});
  REQUIRE(nested.problems.size() == 1);
  CHECK(nested.problems.front().sentence().find("n.json:1:2: /include: unknown key 'include'") == 0);
}

TEST_CASE("a file that cannot be read is told with the place that names it") {
  const Folder folder;
  const auto none = load_bench_sources(folder.at("none.json"));
  REQUIRE_FALSE(none);
  CHECK(none.error().fault == Fault::bad_input);
  CHECK(none.error().context.find("none.json") != std::string::npos);

  const auto a_folder = load_bench_sources(folder.at(""));
  REQUIRE_FALSE(a_folder);
  CHECK(a_folder.error().context.find("is a folder") != std::string::npos);

  const auto missing = load_bench_sources(folder.put("bench.json", "{\n  \"include\": [\"gone.json\"]}"));
  REQUIRE_FALSE(missing);
  CHECK(missing.error().context.find("bench.json:2:15: /include/0: found \"gone.json\"") != std::string::npos);

  folder.put("part.json", "{}");
  const auto twice = load_bench_sources(folder.put("bench.json", "{\"include\": [\"part.json\", \"./part.json\"]}"));
  REQUIRE_FALSE(twice);
  CHECK(twice.error().context.find("bench.json:1:27: /include/1") != std::string::npos);
  CHECK(twice.error().context.find("a second time") != std::string::npos);

  const auto itself = load_bench_sources(folder.put("bench.json", "{\"include\": [\"bench.json\"]}"));
  REQUIRE_FALSE(itself);
}

TEST_CASE("a file that is no JSON is still a source, so that its place can be told") {
  const Folder folder;
  const auto sources = load_bench_sources(folder.put("bench.json", "{\"bench\": }"));
  REQUIRE(sources);
  const auto read = parse(*sources);
  REQUIRE(read.problems.size() == 1);
  CHECK(read.problems.front().at.column == 11);
}

TEST_CASE("the demo bench cut off anywhere, or with a byte changed, gives problems and never a crash") {
  const auto& text = demo_text();
  for (std::size_t i = 0; i < text.rfind('}'); i += 61) {
    const auto read = parse(text.substr(0, i));
    CHECK_FALSE(read.bench);
    CHECK(read.problems.size() == 1);
  }
  const auto begin = text.find('{');
  for (std::size_t i = begin; i < text.size(); i += 37)
    for (const char c : {'"', '{', ']', ',', '0', '\xC3'}) {
      auto changed = text;
      changed[i] = c;
      const auto read = parse(changed);
      CHECK((read.bench != nullptr) == read.problems.empty());
    }
}

TEST_CASE("a bench that is like another has from it what its own file does not hold, thing by thing") {
  const Folder folder;
  folder.put("base/bench.json", demo_text());
  const auto path = folder.put("variant.json", R"({
  "bench": "variant", "like": "base/bench.json", "loop_rate": "2 kHz",
  "devices": {"road": {"link": {"kind": "udp", "local": "127.0.0.1:1", "peer": "127.0.0.1:2"},
    "protocol": {"kind": "frames", "receive": {"status": {"length": 8, "fields": {
      "angle": {"start": 0, "bits": 24, "signed": true, "scale": 0.001},
      "force": {"start": 24, "bits": 24, "signed": true, "scale": 0.1}}}},
      "send": {"command": {"length": 3, "cycle": "1 ms", "fields": {
        "load_cmd": {"start": 0, "bits": 24, "signed": true, "scale": 0.1}}}}},
    "timeout": "33 ms"}}})");
  const auto sources = load_bench_sources(path);
  REQUIRE(sources);
  REQUIRE(sources->size() == 2);
  Problems problems;
  const auto bench = parse_bench(*sources, catalogue(), problems);
  for (const auto& p : problems.sorted()) UNSCOPED_INFO(p.sentence());
  REQUIRE(bench);
  const auto base = parse(demo_text()).bench->signals.size();
  CHECK(bench->name == "variant");
  CHECK(bench->tick == std::chrono::microseconds{500});
  CHECK(bench->devices.size() == 4);
  CHECK(bench->signals.size() == base);
  CHECK(bench->interlocks.size() == 7);
  bool found = false;
  for (const auto& d : bench->devices)
    found = found || (d.name == "road" && d.timeout == std::chrono::milliseconds{33});
  CHECK(found);
}

TEST_CASE("what is wrong in the bench that another is like is told in its own file") {
  const Folder folder;
  auto broken = demo_text();
  const std::string piece{"\"grace\": \"80 ms\""};
  broken.replace(broken.find(piece), piece.size(), "\"grace\": \"80 mm\"");
  const auto base = folder.put("base.json", broken);
  const auto told = [&](const std::string& text) {
    std::string all;
    const auto sources = load_bench_sources(folder.put("variant.json", text));
    if (!sources) return sources.error().context;
    Problems problems;
    CHECK_FALSE(parse_bench(*sources, catalogue(), problems));
    for (const auto& p : problems.sorted()) all += p.sentence() + "\n";
    return all;
  };
  const auto unit = told(R"({"bench": "v", "like": "base.json"})");
  CHECK(unit.find("base.json:") == unit.find(base) + base.size() - 9);
  CHECK(unit.find("80 mm") != std::string::npos);
  CHECK(told(R"({"bench": "v", "like": "none.json"})").find("variant.json:1:24: /like: found \"none.json\"") !=
        std::string::npos);
  folder.put("chain.json", R"({"bench": "v", "like": "base.json"})");
  CHECK(told(R"({"bench": "v", "like": "chain.json"})").find("a bench file in one piece") != std::string::npos);
  CHECK(told(R"({"bench": "v", "like": "variant.json"})").find("a second time") != std::string::npos);
}

TEST_CASE("every demo bench is sound, and has the demo's signals, axes and interlocks") {
  const auto whole = parse(demo_text()).bench;
  REQUIRE(whole);
  for (const auto* name : {"bench-udp.json", "bench-serial.json", "bench-can.json", "bench-canopen.json",
                           "bench-faults.json", "bench-relays-scpi.json", "bench-list.json"}) {
    CAPTURE(name);
    const auto sources = load_bench_sources(TRACKROD_SOURCE_DIR "/fixtures/demo_bench/" + std::string{name});
    REQUIRE(sources);
    Problems problems;
    const auto bench = parse_bench(*sources, catalogue(), problems);
    for (const auto& p : problems.sorted()) UNSCOPED_INFO(p.sentence());
    REQUIRE(bench);
    for (const auto& s : whole->signals) {
      CAPTURE(s.info.name);
      const auto at = bench->find(s.info.name);
      REQUIRE(at);
      const auto& other = bench->signals[*at].info;
      CHECK(other.unit == s.info.unit);
      // A sensor with a broken wire shows the end of its span, and there is more to warn of.
      const bool shows_more = std::string{name} == "bench-faults.json" &&
                              (s.info.name == "unit.road_angle" || s.info.name == "unit.warning");
      CHECK((shows_more || (other.range_low == s.info.range_low && other.range_high == s.info.range_high)));
      CHECK(other.calibration.standard_uncertainty == s.info.calibration.standard_uncertainty);
      // The 16 bits that CiA 402 has for a torque hold these forces in steps of 2 N.
      const bool is_torque_object =
          std::string{name} == "bench-canopen.json" && (s.info.name == "road.force" || s.info.name == "road.load_cmd");
      CHECK(other.resolution == (is_torque_object ? 2.0 : s.info.resolution));
      CHECK(other.positive == s.info.positive);
    }
    for (const auto& lock : whole->interlocks)
      CHECK(std::any_of(bench->interlocks.begin(), bench->interlocks.end(), [&](const Interlock& other) {
        return other.name == lock.name && other.condition.low == lock.condition.low &&
               other.condition.high == lock.condition.high && other.grace == lock.grace;
      }));
    CHECK(bench->axes.size() == whole->axes.size());
  }
}
