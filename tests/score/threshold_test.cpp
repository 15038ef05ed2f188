// The value that half of all tries survive, against SciPy, the mean of an up-and-down search, and staircases with known
// truth.

#include "harness/score/threshold.hpp"

#include <cmath>

#include "harness/score/budget.hpp"
#include "tests/catch.hpp"
#include "tests/score/staircase.hpp"

namespace trackrod::test {
namespace {

constexpr std::uint64_t seed = 19480301;

Tries lengths(std::vector<Try> of, double apart = 0.0) {
  return {std::move(of), Harder::greater, apart, "length", "ms"};
}

std::vector<Try> several(const std::vector<std::pair<double, int>>& survived_of_five) {
  std::vector<Try> out;
  for (const auto& [value, survived] : survived_of_five)
    for (int k = 0; k < 5; ++k) out.push_back({value, k < survived});
  return out;
}

// A level is 1 ms, and is measured with a noise of this standard deviation.
std::vector<Try> measured(const std::vector<std::pair<int, bool>>& stairs, double noise, std::mt19937_64& random) {
  std::normal_distribution<double> normal;
  std::vector<Try> out;
  for (const auto& [level, survived] : stairs) out.push_back({level + noise * normal(random), survived});
  return out;
}

double half_width(const Threshold& found) { return combine(0.0, {found.line}).interval[1]; }

TEST_CASE("outcomes that do not overlap: the middle, and half the distance") {
  const auto found = threshold_of(lengths({{10, true}, {40, true}, {60, false}, {20, true}, {90, false}}));
  CHECK(found.value == 50.0);
  CHECK(found.line.distribution == "rectangular");
  CHECK(found.line.standard_uncertainty == Approx(10.0 / std::sqrt(3.0)));
  CHECK(found.survived == 40.0);
  CHECK(found.lost == 60.0);
}

// tests/score/threshold.py 9 40:1 40:1 ..., by SciPy 1.10: of continuous widths, where the score has a grid.
TEST_CASE("outcomes that overlap: the interval is that of the profile likelihood") {
  const auto tries = several({{40, 5}, {42, 5}, {44, 4}, {46, 3}, {48, 2}, {50, 0}, {52, 0}});
  const auto found = threshold_of(lengths(tries));
  INFO(found.trouble);
  REQUIRE(found.value);
  CHECK(found.near == 35);
  CHECK(found.line.degrees_of_freedom == 9.0);
  CHECK(*found.value - half_width(found) == Approx(44.8706).margin(0.04));
  CHECK(*found.value + half_width(found) == Approx(48.3741).margin(0.04));
}

TEST_CASE("of what is harder the smaller it is, the same") {
  auto tries = several({{40, 5}, {42, 5}, {44, 4}, {46, 3}, {48, 2}, {50, 0}, {52, 0}});
  const auto greater = threshold_of(lengths(tries));
  for (auto& t : tries) t.value = 100.0 - t.value;
  const auto smaller = threshold_of({tries, Harder::smaller, 0.0, "depth", "V"});
  REQUIRE(smaller.value);
  CHECK(*smaller.value == Approx(100.0 - *greater.value));
  CHECK(half_width(smaller) == Approx(half_width(greater)));
  CHECK(smaller.survived == 100.0 - greater.survived);
}

// Dixon and Mood 1948, "A method for obtaining and analyzing sensitivity data", from memory: the mean of the levels
// of the rarer outcome, half a level farther on towards the other one.
TEST_CASE("a long search agrees with the mean of its levels") {
  CAPTURE(seed);
  std::mt19937_64 random{seed};
  for (const double limit : {63.3, 64.0, 90.7}) {
    const auto stairs = staircase(400, limit, 1.0, random);
    double sum[2] = {0.0, 0.0}, count[2] = {0.0, 0.0};
    for (std::size_t i = 10; i < stairs.size(); ++i)
      sum[stairs[i].second] += stairs[i].first, count[stairs[i].second] += 1.0;
    const bool rarer = count[1] < count[0];
    const double mean = sum[rarer] / count[rarer] + (rarer ? 0.5 : -0.5);
    const auto found = threshold_of(lengths(measured(stairs, 0.0, random)));
    CAPTURE(limit, mean, found.trouble);
    REQUIRE(found.value);
    CHECK(*found.value == Approx(mean).margin(0.1));
    CHECK(std::abs(*found.value - limit) < 2.0 * half_width(found));
  }
}

TEST_CASE("stated intervals hold the limit of staircases in 93 of 100 cases and more", "[many]") {
  constexpr int searches = 150;
  CAPTURE(seed);
  std::mt19937_64 random{seed};
  std::uniform_real_distribution<double> anywhere{20.0, 107.0};
  for (const int tries : {24, 30, 60})
    for (const double scatter : {0.2, 1.0, 2.0}) {
      int stated = 0, held = 0;
      for (int k = 0; k < searches; ++k) {
        const double limit = anywhere(random);
        const auto found = threshold_of(lengths(measured(staircase(tries, limit, scatter, random), 0.0, random)));
        if (!found.value) continue;
        ++stated;
        held += std::abs(*found.value - limit) <= half_width(found);
      }
      CAPTURE(tries, scatter, stated, held);
      // Three standard deviations of chance below 93 %.
      CHECK(held >= 0.93 * stated - 3.0 * std::sqrt(0.93 * 0.07 * stated));
      CHECK(stated >= (scatter > 1.0 && tries < 30 ? 0.75 : 0.95) * searches);
    }
}

TEST_CASE("one level with both outcomes, told apart only by noise, is no sharp limit") {
  CAPTURE(seed);
  std::mt19937_64 random{seed};
  int held = 0, stated = 0;
  for (int k = 0; k < 100; ++k) {
    const double limit = 50.0 + 0.01 * k;
    const auto found = threshold_of(lengths(measured(staircase(24, limit, 0.3, random), 0.05, random), 0.15));
    if (!found.value) continue;
    ++stated;
    held += std::abs(*found.value - limit) <= half_width(found);
  }
  CAPTURE(held);
  CHECK(stated >= 95);
  CHECK(held >= 0.93 * stated - 3.0 * std::sqrt(0.93 * 0.07 * stated));
}

TEST_CASE("few tries, and two that are not told apart: between those that clearly lie on either side") {
  const auto found = threshold_of(lengths({{30, true}, {52, true}, {49, false}, {70, false}}, 12.0));
  CHECK(found.value == 50.0);
  CHECK(found.line.standard_uncertainty == Approx(20.0 / std::sqrt(3.0)));
  // Told apart well, they contradict each other.
  CHECK_FALSE(threshold_of(lengths({{30, true}, {52, true}, {49, false}, {70, false}}, 5.0)).value);
}

TEST_CASE("no value, with what to do: something else decides, too few tries, too wide an overlap, no other value") {
  const auto trouble = [](std::vector<Try> tries) {
    const auto found = threshold_of(lengths(std::move(tries)));
    CHECK_FALSE(found.value);
    return found.trouble;
  };
  auto odd = several({{50, 5}, {51, 5}, {52, 4}, {53, 2}, {54, 0}, {55, 0}});
  CHECK(threshold_of(lengths(odd)).value);
  odd.push_back({100.0, true});
  CHECK(trouble(odd).find("one of 100 ms was survived") != std::string::npos);
  CHECK(trouble({{20, false}, {30, false}, {200, true}}).find("length alone does not decide") != std::string::npos);
  CHECK(trouble(several({{50, 3}, {60, 2}, {70, 3}, {80, 2}})).find("does not decide") != std::string::npos);
  CHECK(trouble({{40, true}, {50, true}, {60, false}, {50, true}, {62, true}, {70, false}, {70, false}, {80, false}})
            .find("at least 16 are needed; more tries, or coarser levels") != std::string::npos);
  CHECK(trouble(several({{50, 5}, {60, 3}, {70, 3}, {80, 2}, {90, 2}})).find("too few for so wide an overlap") !=
        std::string::npos);
  CHECK(trouble(several({{50, 3}, {50, 2}})).find("every length is 50 ms") != std::string::npos);
}

}  // namespace
}  // namespace trackrod::test
