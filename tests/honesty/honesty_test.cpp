// The honesty of what is stated, in small: of some captures with random truth, how many intervals hold it. The table of
// thousands is the program `honesty`; docs/honesty.md.

#include <sstream>

#include "tests/catch.hpp"
#include "tests/honesty/tally.hpp"

namespace trackrod::test {
namespace {

TEST_CASE("stated 95 % intervals hold the truth in about 95 of 100 captures, for every score") {
  constexpr int captures = 120;
  const std::uint64_t seed = 20260101;
  for (const auto& population : populations()) {
    const auto counted = tally(population, captures, seed);
    const auto check = [&](const auto& row) {
      for (const auto& complaint : complaints(row, Limits::with_chance)) {
        UNSCOPED_INFO("seed " << seed << ", " << population.what << ", " << population.score << "." << row.name);
        FAIL_CHECK(complaint);
      }
    };
    for (const auto& row : counted.rows) check(row);
    for (const auto& confusion : counted.confusions) check(confusion);
    CHECK(counted.rows.size() + counted.confusions.size() > 0);
  }
}

TEST_CASE("intervals that are too narrow, too wide, one-sided or wrong in a stratum are found out") {
  // n normal errors of standard deviation 1 with stated half-widths of 1.96 times `k`, moved by `bias`.
  const auto counted = [](double k, double bias, double coarse = 1.0) {
    const Population p{"none", "normal errors", Claim::interval, [=](std::mt19937_64& random) {
                         Draw draw{random};
                         const bool is_coarse = draw.chance(0.1);
                         Finding f;
                         f.value = bias + draw.normal(is_coarse ? coarse : 1.0);
                         f.standard_uncertainty = k;
                         f.interval = {*f.value - 1.959964 * k, *f.value + 1.959964 * k};
                         return Drawn{{{"value", f, 0.0}}, {}, {is_coarse ? "coarse" : "fine"}};
                       }};
    return tally(p, 4000, 7).rows.at(0);
  };
  const auto found = [](const Row& row, const std::string& word) {
    for (const auto& c : complaints(row, Limits::bare))
      if (c.find(word) != std::string::npos) return true;
    return false;
  };
  CHECK(complaints(counted(1.0, 0.0), Limits::bare).empty());
  CHECK(complaints(counted(1.0, 0.0), Limits::with_chance).empty());
  CHECK(found(counted(0.85, 0.0), "at least 93 %"));
  CHECK(found(counted(1.3, 0.0), "too wide"));
  CHECK(found(counted(1.0, 0.3), "have the truth below"));
  CHECK(found(counted(1.0, 0.5), "pass by a lower limit"));
  CHECK(found(counted(1.0, -0.5), "pass by an upper limit"));
  CHECK(found(counted(1.0, 0.15), "bias"));
  CHECK(found(counted(1.0, 0.0, 1.3), "'coarse'"));
  CHECK(counted(1.0, 0.0).width == Approx(1.0).margin(0.05));
}

// Upper bounds of Clopper and Pearson: SciPy 1.10, beta.ppf(0.95, wrong + 1, n - wrong).
TEST_CASE("the share that is wrong is bounded as Clopper and Pearson do") {
  const auto bound = [](int wrong, int right) {
    return Confusion{"", {{{"a", "b"}, wrong}, {{"a", "a"}, right}}}.wrong_at_most();
  };
  CHECK(bound(0, 59) == Approx(0.049508).margin(1e-5));
  CHECK(bound(3, 97) == Approx(0.075711).margin(1e-5));
}

}  // namespace
}  // namespace trackrod::test
