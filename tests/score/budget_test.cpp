#include "harness/score/budget.hpp"

#include <limits>

#include "tests/catch.hpp"

namespace trackrod {
namespace {

constexpr double many = std::numeric_limits<double>::infinity();

TEST_CASE("independent lines add as squares, lines of one group with their signs") {
  CHECK(combine(0, {type_a("a", 3, many), type_b("b", 4)}).standard_uncertainty == Approx(5));
  CHECK(combine(0, {type_b("a", 3, "clock"), type_b("b", 4, "clock")}).standard_uncertainty == Approx(7));
  CHECK(combine(0, {type_b("a", 3, "clock"), type_b("b", -3, "clock")}).standard_uncertainty ==
        Approx(0).margin(1e-15));
  CHECK(combine(0, {type_b("a", 3, "x"), type_b("b", 4, "y")}).standard_uncertainty == Approx(5));
}

TEST_CASE("a pure rectangle is covered by 0.95 of its half-width, not by 1.96 standard uncertainties") {
  // 95 % of an even distribution of half-width 1 lies within 0.95 of its middle.
  const auto combined = combine(10.0, {rectangular("clock", 1.0)});
  CHECK(combined.interval[1] - 10.0 == Approx(0.95).margin(0.004));
  CHECK(10.0 - combined.interval[0] == Approx(0.95).margin(0.004));
}

TEST_CASE("two equal rectangles give the interval of a triangle") {
  // Of the triangle with half-width 2, 95 % lies within 2 (1 - sqrt 0.05).
  const auto combined = combine(0.0, {rectangular("a", 1.0), rectangular("b", 1.0)});
  CHECK(combined.interval[1] == Approx(2.0 * (1.0 - std::sqrt(0.05))).margin(0.008));
}

TEST_CASE("the same budget gives the same interval each time") {
  const std::vector<Contribution> budget{rectangular("clock", 1.0), type_a("noise", 0.3, 4)};
  CHECK(combine(1.0, budget).interval == combine(1.0, budget).interval);
}

TEST_CASE("few degrees of freedom widen the interval") {
  const double many_u = combine(0.0, {type_a("noise", 1.0, many)}).interval[1];
  const double few_u = combine(0.0, {type_a("noise", 1.0, 3)}).interval[1];
  CHECK(many_u == Approx(1.95996).margin(1e-4));
  CHECK(few_u == Approx(3.18245).margin(1e-4));  // Student's t, 3 degrees of freedom
}

TEST_CASE("cycles that scatter no more than their noise add nothing, cycles that do add what is beyond") {
  const auto quiet = repeated({1.0, 1.1, 0.9}, {1.0, 1.0, 1.0});
  CHECK(quiet.mean == Approx(1.0));
  CHECK(quiet.budget[0].standard_uncertainty == Approx(1.0 / std::sqrt(3.0)));
  CHECK(quiet.budget[1].standard_uncertainty == 0.0);
  const auto loud = repeated({0.0, 2.0, 4.0}, {0.0, 0.0, 0.0});
  CHECK(loud.budget[1].standard_uncertainty == Approx(2.0 / std::sqrt(3.0)));  // s = 2, n = 3
  CHECK(loud.budget[1].degrees_of_freedom == 2.0);
  CHECK(loud.least == 0.0);
  CHECK(loud.greatest == 4.0);
}

}  // namespace
}  // namespace trackrod
