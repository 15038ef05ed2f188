#pragma once
// The demo bench and the catalogue that the tests of this folder read it with.

#include <fstream>
#include <iterator>
#include <memory>
#include <string>

#include "drivers/device/known_devices.hpp"
#include "harness/bench/bench.hpp"

namespace trackrod::test {

inline const Catalogue& catalogue() {
  static const auto known = known_devices();
  return known;
}

inline std::string slurp(const std::string& path) {
  std::ifstream in{path, std::ios::binary};
  return {std::istreambuf_iterator<char>{in}, {}};
}

inline const std::string demo_path = TRACKROD_SOURCE_DIR "/fixtures/demo_bench/bench.json";
inline const std::string& demo_text() {
  static const auto text = slurp(demo_path);
  return text;
}

struct Parsed {
  std::unique_ptr<Bench> bench;
  std::vector<Problem> problems;

  std::string sentences() const {
    std::string all;
    for (const auto& p : problems) all += p.sentence() + "\n";
    return all;
  }
};
inline Parsed parse(const Sources& sources) {
  Problems problems;
  auto bench = parse_bench(sources, catalogue(), problems);
  return {std::move(bench), problems.sorted()};
}
inline Parsed parse(const std::string& text) { return parse(Sources{{"bench.json", text}}); }

}  // namespace trackrod::test
