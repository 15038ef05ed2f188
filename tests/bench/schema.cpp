// The schema that is shipped for editors, and an independent judge of it: python3-jsonschema of Debian.

#include <unistd.h>

#include <array>
#include <cstdio>
#include <cstdlib>
#include <filesystem>

#include "tests/bench/broken.hpp"
#include "tests/bench/demo.hpp"
#include "tests/catch.hpp"

using namespace trackrod;
using namespace trackrod::test;
namespace fs = std::filesystem;

namespace {

const std::string schema_path = TRACKROD_SOURCE_DIR "/docs/schema/bench.schema.json";

std::string output_of(const std::string& command) {
  FILE* pipe = popen(command.c_str(), "r");
  REQUIRE(pipe != nullptr);
  std::string all;
  std::array<char, 4096> part{};
  while (const auto n = std::fread(part.data(), 1, part.size(), pipe)) all.append(part.data(), n);
  CHECK(pclose(pipe) == 0);
  return all;
}

}  // namespace

TEST_CASE("the shipped schema of bench files is the one that the field tables write") {
  const auto written = bench_schema(catalogue());
  if (std::getenv("TRACKROD_WRITE_SCHEMA") != nullptr) {
    fs::create_directories(fs::path{schema_path}.parent_path());
    std::ofstream{schema_path, std::ios::binary} << written;
  }
  INFO(
      "to write it anew: TRACKROD_WRITE_SCHEMA=1 build/tests/test_bench, or trackrod schema bench > "
      "docs/schema/bench.schema.json");
  CHECK(slurp(schema_path) == written);
}

TEST_CASE("an independent judge takes the demo bench and refuses what is broken in its structure") {
  const auto folder = fs::temp_directory_path() / ("trackrod-judge-" + std::to_string(getpid()));
  fs::create_directories(folder);
  const auto keep = [&](const std::string& name, const std::string& text) {
    std::ofstream{folder / name, std::ios::binary} << text;
    return " " + (folder / name).string();
  };
  std::string files = keep("demo", demo_text()), expected = "valid " + (folder / "demo").string() + "\n";
  for (const auto* other : {"bench-udp.json", "bench-serial.json", "bench-can.json", "bench-canopen.json",
                            "bench-faults.json", "bench-relays-scpi.json", "bench-list.json"}) {
    files += keep(other, slurp(TRACKROD_SOURCE_DIR "/fixtures/demo_bench/" + std::string{other}));
    expected += "valid " + (folder / other).string() + "\n";
  }
  int number = 0;
  for (const auto& b : all_broken()) {
    if (b.judged == Judged::no_json) continue;
    const auto name = "broken-" + std::to_string(number++);
    files += keep(name, broken_text(b).text);
    // What only a look at the meaning finds, the schema lets pass.
    expected += (b.judged == Judged::refused ? "refused " : "valid ") + (folder / name).string() + "\n";
  }
  const auto schema = keep("schema", bench_schema(catalogue()));
  CHECK(output_of("/usr/bin/python3 " TRACKROD_SOURCE_DIR "/tests/bench/judge.py" + schema + files) == expected);
  fs::remove_all(folder);
}
