#pragma once
// What a test case asks of a score's figures: that they show the findings, with the intervals that are stated.

#include <algorithm>
#include <cmath>

#include "tests/catch.hpp"
#include "tests/score/known.hpp"

namespace trackrod::test {

// Some figure has a mark of that name; it lies where the finding does, `from` on, and covers its whole interval.
inline void check_marked(const ScoreResult& result, const std::string& label, const Finding& finding,
                         double from = 0.0) {
  CAPTURE(label, finding.name, finding.reason);
  REQUIRE(finding.value);
  REQUIRE(finding.interval);
  for (const auto& figure : result.figures)
    for (const auto& mark : figure.marks) {
      if (mark.label != label) continue;
      CHECK(mark.value == Approx(from + *finding.value));
      CHECK(mark.half_width > 0.0);
      CHECK(mark.value - mark.half_width <= from + (*finding.interval)[0] + 1e-12);
      CHECK(mark.value + mark.half_width >= from + (*finding.interval)[1] - 1e-12);
      return;
    }
  FAIL("no such mark in the figures");
}

// Some curve has a point at the finding's value, with its interval; all of them `scale` times as large.
inline void check_drawn(const ScoreResult& result, const Finding& finding, double scale = 1.0) {
  CAPTURE(finding.name, finding.reason, finding.step);
  REQUIRE(finding.value);
  REQUIRE(finding.interval);
  bool found = false;
  for (const auto& figure : result.figures)
    for (const auto& curve : figure.curves)
      for (std::size_t i = 0; i < curve.low.size(); ++i)
        found = found || (curve.y[i] == Approx(scale * *finding.value) &&
                          curve.low[i] == Approx(scale * (*finding.interval)[0]) &&
                          curve.high[i] == Approx(scale * (*finding.interval)[1]));
  CHECK(found);
}

}  // namespace trackrod::test
