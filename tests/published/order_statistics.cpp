// Proportions and tolerance bounds against published tables and SciPy.

#include "harness/score/order_statistics.hpp"

#include <unistd.h>

#include <cstdio>
#include <filesystem>
#include <fstream>
#include <random>
#include <tuple>

#include "tests/catch.hpp"

namespace trackrod::test {

// Tables of Clopper and Pearson's limits, 95 %, two-sided (the arithmetic redone with SciPy).
TEST_CASE("Clopper and Pearson: tabulated 95 % limits") {
  for (const auto& [good, trials, low, high] : {std::tuple{0, 10, 0.0, 0.308497},
                                                {1, 10, 0.002529, 0.445016},
                                                {5, 10, 0.187086, 0.812914},
                                                {10, 10, 0.691503, 1.0},
                                                {3, 20, 0.032071, 0.378927},
                                                {1, 100, 0.000253, 0.054459},
                                                {81, 100, 0.719302, 0.881557}}) {
    CAPTURE(good, trials);
    const auto bounds = proportion_bounds(static_cast<std::size_t>(good), static_cast<std::size_t>(trials), 0.95);
    CHECK(bounds[0] == Approx(low).margin(1e-6));
    CHECK(bounds[1] == Approx(high).margin(1e-6));
  }
}

// The success-run formula n = ln(1 - C) / ln R, as any table of it prints; and S. S. Wilks, Ann. Math. Stat. 12 (1941):
// 59 values for one bound at 95/95, 93 for the second from the end, 124 for the third (from memory).
TEST_CASE("tolerance bounds: the numbers of trials that tables of the success-run formula and of Wilks print") {
  for (const auto& [share, confidence, trials] :
       {std::tuple{0.95, 0.95, 59}, {0.99, 0.95, 299}, {0.90, 0.90, 22}, {0.90, 0.95, 29}, {0.99, 0.99, 459}}) {
    CAPTURE(share, confidence);
    CHECK(fewest_for_tolerance(share, confidence) == static_cast<std::size_t>(trials));
    CHECK_FALSE(tolerance_rank(static_cast<std::size_t>(trials) - 1, share, confidence));
    CHECK(tolerance_rank(static_cast<std::size_t>(trials), share, confidence) == static_cast<std::size_t>(trials));
  }
  for (const auto& [trials, from_the_end] : {std::pair{92, 1}, {93, 2}, {123, 2}, {124, 3}}) {
    CAPTURE(trials);
    CHECK(tolerance_rank(static_cast<std::size_t>(trials), 0.95, 0.95) ==
          static_cast<std::size_t>(trials - from_the_end + 1));
  }
}

TEST_CASE("bounds of a proportion and ranks of a tolerance bound are those that SciPy finds") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937 random{seed};
  struct Case {
    std::size_t good, trials;
    double confidence, share;
  };
  std::vector<Case> cases;
  const auto path = std::filesystem::temp_directory_path() / ("trackrod-order-" + std::to_string(getpid()) + ".txt");
  {
    std::ofstream file{path};
    file.precision(17);
    for (int k = 0; k < 40; ++k) {
      const std::size_t trials = 1 + random() % 150, good = random() % (trials + 1);
      const double confidence = std::uniform_real_distribution<>{0.5, 0.99}(random);
      cases.push_back({good, trials, confidence, std::uniform_real_distribution<>{0.5, 0.99}(random)});
      file << good << " " << trials << " " << confidence << " " << cases.back().share << "\n";
    }
  }
  std::FILE* pipe = popen(
      ("/usr/bin/python3 " + std::string{TRACKROD_SOURCE_DIR} + "/tests/published/order_statistics.py " + path.string())
          .c_str(),
      "r");
  REQUIRE(pipe);
  for (const auto& c : cases) {
    CAPTURE(c.good, c.trials, c.confidence, c.share);
    double one_sided = -1, low = -1, high = -1, rank = -1;
    REQUIRE(std::fscanf(pipe, "%lf %lf %lf %lf", &one_sided, &low, &high, &rank) == 4);
    CHECK(least_proportion(c.good, c.trials, c.confidence) == Approx(one_sided).margin(1e-9));
    const auto bounds = proportion_bounds(c.good, c.trials, c.confidence);
    CHECK(bounds[0] == Approx(low).margin(1e-9));
    CHECK(bounds[1] == Approx(high).margin(1e-9));
    CHECK(static_cast<double>(tolerance_rank(c.trials, c.share, c.confidence).value_or(0)) == rank);
  }
  CHECK(pclose(pipe) == 0);
  std::filesystem::remove(path);
}

}  // namespace trackrod::test
