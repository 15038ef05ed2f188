// Budgets, coverage factors, decisions and straight lines against published examples.

#include <Eigen/Dense>
#include <cmath>
#include <limits>

#include "harness/score/budget.hpp"
#include "harness/score/decision.hpp"
#include "harness/score/line_fit.hpp"
#include "tests/catch.hpp"

namespace trackrod {
namespace {

TEST_CASE("the end gauge of JCGM 100:2008, H.1, has u = 32 nm, 16 degrees of freedom and U99 = 93 nm") {
  // Contributions as the example tabulates them, in nm.
  const std::vector<Contribution> budget{type_a("standard", 25.0, 18), type_a("difference", 9.7, 25.6),
                                         type_a("expansion", 2.9, 50), type_a("temperature", 16.6, 2)};
  const auto combined = combine(0.0, budget, 0.99);
  CHECK(std::round(combined.standard_uncertainty) == 32.0);
  CHECK(std::floor(combined.degrees_of_freedom) == 16.0);
  CHECK(combined.coverage_factor == Approx(2.92).margin(0.005));
  CHECK(combined.interval[1] == Approx(93.0).margin(1.0));
}

TEST_CASE("the simultaneous readings of JCGM 100:2008, H.2, give u of R, X and Z with their correlations") {
  const Eigen::Matrix<double, 5, 3> data{{5.007, 19.663e-3, 1.0456},
                                         {4.994, 19.639e-3, 1.0438},
                                         {5.005, 19.640e-3, 1.0468},
                                         {4.990, 19.685e-3, 1.0428},
                                         {4.999, 19.678e-3, 1.0433}};
  const Eigen::RowVector3d mean = data.colwise().mean();
  const Eigen::MatrixXd centred = data.rowwise() - mean;
  const Eigen::MatrixXd covariance = centred.transpose() * centred / (5.0 * 4.0);  // of the means
  const double v = mean[0], i = mean[1], phi = mean[2];
  const Eigen::Vector3d r{std::cos(phi) / i, -v * std::cos(phi) / (i * i), -v * std::sin(phi) / i};
  const Eigen::Vector3d x{std::sin(phi) / i, -v * std::sin(phi) / (i * i), v * std::cos(phi) / i};
  const Eigen::Vector3d z{1.0 / i, -v / (i * i), 0.0};
  CHECK(v / i * std::cos(phi) == Approx(127.732).margin(6e-4));
  CHECK(propagated(r, covariance) == Approx(0.071).margin(5e-4));
  CHECK(propagated(x, covariance) == Approx(0.295).margin(1e-3));
  CHECK(propagated(z, covariance) == Approx(0.236).margin(5e-4));
}

TEST_CASE("coverage factors are those of JCGM 100:2008, table G.2") {
  const struct {
    double dof, factor[6];
  } rows[] = {{1, {1.84, 6.31, 12.71, 13.97, 63.66, 235.78}}, {2, {1.32, 2.92, 4.30, 4.53, 9.92, 19.21}},
              {5, {1.11, 2.02, 2.57, 2.65, 4.03, 5.51}},      {10, {1.05, 1.81, 2.23, 2.28, 3.17, 3.96}},
              {16, {1.03, 1.75, 2.12, 2.17, 2.92, 3.54}},     {20, {1.03, 1.72, 2.09, 2.13, 2.85, 3.42}},
              {50, {1.01, 1.68, 2.01, 2.05, 2.68, 3.16}}};
  const double coverage[] = {0.6827, 0.90, 0.95, 0.9545, 0.99, 0.9973};
  for (const auto& row : rows)
    for (int k = 0; k < 6; ++k) CHECK(coverage_factor(row.dof, coverage[k]) == Approx(row.factor[k]).margin(0.00501));
  CHECK(coverage_factor(16.9, 0.95) == coverage_factor(16.0, 0.95));  // truncated downwards (G.4.1)
}

TEST_CASE("a rectangle, and the difference of two rounded readings, have the published divisors") {
  CHECK(rectangular("resolution", 0.5).standard_uncertainty == Approx(0.288675).margin(1e-6));
  CHECK(combine(0, {rectangular("a", 0.5), rectangular("b", 0.5)}).standard_uncertainty ==
        Approx(0.408248).margin(1e-6));
}

TEST_CASE("the worked decisions at a limit of 50 ms with U = 3 ms come out as computed") {
  // Guard band of the whole U: acceptance limit 47 ms; probabilities Phi((50 - y) / 1.5). Computed after JCGM 106:2012.
  const struct {
    double value, probability;
    Verdict verdict;
  } rows[] = {{46.9, 0.9806, Verdict::pass},         {47.0, 0.9772, Verdict::pass},
              {47.2, 0.9690, Verdict::inconclusive}, {50.0, 0.5000, Verdict::inconclusive},
              {51.0, 0.2525, Verdict::inconclusive}, {53.2, 0.0164, Verdict::fail}};
  const Limit limit{Limit::Kind::at_most, 0.0, 50.0};
  for (const auto& row : rows) {
    Finding f;
    f.value = row.value;
    f.standard_uncertainty = 1.5;
    f.interval = {{row.value - 3.0, row.value + 3.0}};
    judge(f, limit, Rule::guarded, "");
    CAPTURE(row.value);
    CHECK(f.verdict == row.verdict);
    CHECK(probability_of_conformity(row.value, 1.5, limit) == Approx(row.probability).margin(5e-5));
  }
}

TEST_CASE("conformance probabilities of JCGM 106:2012, clause 7 (values from memory, arithmetic recomputed)") {
  CHECK(probability_of_conformity(-1.4, 1.0, {Limit::Kind::at_most, 0.0, 0.0}) == Approx(0.9192).margin(5e-5));
  CHECK(probability_of_conformity(13.6, 1.8, {Limit::Kind::within, 12.5, 16.3}) == Approx(0.6626).margin(5e-5));
}

TEST_CASE("the straight line of the NIST StRD set Norris has its certified values") {
  const std::vector<double> x{0.2, 337.4, 118.2, 884.6, 10.1,  226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4,
                              0.6, 775.5, 666.9, 338.0, 447.5, 11.6,  556.0, 228.1, 995.8, 887.6, 120.2, 0.3,
                              0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1,  118.3, 229.2, 669.1, 448.9, 0.5};
  const std::vector<double> y{0.1, 338.8, 118.1, 888.0, 9.2,   228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3,
                              0.1, 778.1, 668.8, 339.3, 448.9, 10.8,  557.7, 228.3, 998.0, 888.8, 119.6, 0.3,
                              0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2,  117.6, 228.9, 668.4, 449.2, 0.2};
  const auto line = fit_line(x, y, std::vector<double>(x.size(), 1.0));
  CHECK(line.intercept == Approx(-0.262323073774029).margin(1e-11));
  CHECK(line.slope == Approx(1.00211681802045).margin(1e-13));
  CHECK(line.residual_deviation == Approx(0.884796396144373).margin(1e-11));
  CHECK(line.intercept_unit * line.residual_deviation == Approx(0.232818234301152).margin(1e-11));
  CHECK(line.slope_unit * line.residual_deviation == Approx(0.429796848199937e-3).margin(1e-14));
  CHECK(line.chi_square == Approx(26.6173985294224).margin(1e-9));
  double intercept = 0.0, slope = 0.0;
  for (std::size_t i = 0; i < y.size(); ++i)
    intercept += line.intercept_share[i] * y[i], slope += line.slope_share[i] * y[i];
  CHECK(intercept == Approx(line.intercept).margin(1e-10));
  CHECK(slope == Approx(line.slope).margin(1e-12));
}

TEST_CASE("the chance of a chi square is that of its table") {
  // Upper 5 % and 1 % points, from handbooks: 3.841 and 6.635 for one degree of freedom, 9.488 for four.
  CHECK(chance_of(3.841, 1) == Approx(0.05).margin(1e-4));
  CHECK(chance_of(6.635, 1) == Approx(0.01).margin(1e-4));
  CHECK(chance_of(9.488, 4) == Approx(0.05).margin(1e-4));
}

}  // namespace
}  // namespace trackrod
