#pragma once
// The known rig for tests: what a test case asks of findings.

#include "tests/catch.hpp"
#include "tests/score/known.hpp"

namespace trackrod::test {

inline double value_of(const ScoreResult& result, const std::string& name) {
  const auto f = finding_of(result, name);
  INFO(name << ": " << f.reason);
  REQUIRE(f.value);
  REQUIRE(f.standard_uncertainty);
  return *f.value;
}

// Every finding is empty, with a reason that holds `word`.
inline void check_all_empty(const ScoreResult& result, const std::string& word) {
  CHECK_FALSE(result.findings.empty());
  for (const auto& f : result.findings) {
    CAPTURE(f.name, f.reason);
    CHECK_FALSE(f.value);
    CHECK_FALSE(f.interval);
    CHECK(f.reason.find(word) != std::string::npos);
  }
}

}  // namespace trackrod::test
