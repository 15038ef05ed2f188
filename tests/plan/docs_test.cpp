// The page on plan files says what the program does.

#include "harness/plan/stimulus.hpp"
#include "tests/plan/demo.hpp"

using namespace trackrod;
using namespace trackrod::test;

TEST_CASE("the plan on the page on plan files is a good one") {
  const auto page = slurp(source_dir / "docs/plan-file.md");
  const std::string open = "```json\n";
  const auto from = page.find(open) + open.size();
  const auto reading = read_plan(page.substr(from, page.find("```", from) - from));
  INFO(reading.sentences());
  CHECK(reading.plan);
}

TEST_CASE("the page on plan files names every element and every key") {
  const auto page = slurp(source_dir / "docs/plan-file.md");
  for (const auto& kind : stimulus_table()) {
    CAPTURE(kind.entry.name);
    CHECK(page.find("`" + kind.entry.name + "`") != std::string::npos);
    for (const auto& key : kind.entry.keys()) {
      CAPTURE(key);
      CHECK(page.find("`" + key + "`") != std::string::npos);
    }
  }
}
