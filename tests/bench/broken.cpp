// One mistake a file: told at its line and column, in words on which a technician can act. The places come from the
// mark in the table, not from the reader under test.

#include "tests/bench/broken.hpp"

#include <algorithm>

#include "tests/bench/demo.hpp"
#include "tests/catch.hpp"

namespace trackrod::test {

BrokenText broken_text(const Broken& b) {
  auto text = demo_text();
  const std::string piece{b.piece};
  const auto at = text.find(piece);
  INFO("the case '" << b.piece << "' of line " << b.line);
  REQUIRE(at != std::string::npos);
  REQUIRE(text.find(piece, at + 1) == std::string::npos);
  text.replace(at, piece.size(), b.in_its_place);
  auto place = text.find(b.told_at != nullptr ? b.told_at : "`");
  REQUIRE(place != std::string::npos);
  REQUIRE(text.find(b.told_at != nullptr ? b.told_at : "`", place + 1) == std::string::npos);
  if (b.told_at == nullptr) text.erase(place, 1);
  const auto before = text.substr(0, place);
  return {text, static_cast<int>(std::count(before.begin(), before.end(), '\n')) + 1,
          static_cast<int>(place - (before.rfind('\n') + 1)) + 1};  // npos + 1 = 0
}

}  // namespace trackrod::test

using namespace trackrod;
using namespace trackrod::test;

TEST_CASE("a broken bench file is told at its very place, in words to act on") {
  CHECK(all_broken().size() >= 60);
  for (const auto& b : all_broken()) {
    const auto broken = broken_text(b);
    const auto read = parse(broken.text);
    INFO("case of line " << b.line << " of its table, expected at " << broken.line << ":" << broken.column << " "
                         << b.path << "; found:\n"
                         << read.sentences());
    CHECK_FALSE(read.bench);
    CHECK(static_cast<int>(read.problems.size()) == b.count);
    bool told = false;
    for (const auto& p : read.problems) {
      bool all = p.at.file == "bench.json" && p.at.line == broken.line && p.at.column == broken.column &&
                 p.at.path == b.path && !p.allowed.empty();
      for (const auto* word : b.said) all = all && p.sentence().find(word) != std::string::npos;
      told = told || all;
    }
    CHECK(told);
  }
}

TEST_CASE("many mistakes are told in one go, in the order of the file") {
  auto text = demo_text();
  const auto replace = [&](const std::string& piece, const std::string& other) {
    const auto at = text.find(piece);
    REQUIRE(at != std::string::npos);
    text.replace(at, piece.size(), other);
  };
  replace("\"1 kHz\"", "\"9 kHz\"");
  replace("\"baud\": 115200", "\"buad\": 115200");
  replace("[\"-45 deg\", \"45 deg\"]", "[\"-45 deg\", \"45 Nm\"]");
  replace("\"setpoint\": \"hand.torque_cmd\"", "\"setpoint\": \"hand.torque\"");
  replace("\"grace\": \"80 ms\"", "\"grace\": 80");
  replace("\"to\": \"13.5 V\"", "\"to\": \"135 V\"");
  const auto read = parse(text);
  INFO(read.sentences());
  REQUIRE(read.problems.size() == 6);
  for (std::size_t i = 1; i < read.problems.size(); ++i) CHECK(read.problems[i - 1].at.line < read.problems[i].at.line);
}
