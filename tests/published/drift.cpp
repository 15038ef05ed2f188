// Control charts and trends against published tables.

#include <unistd.h>

#include <cstdio>
#include <filesystem>
#include <fstream>
#include <random>

#include "harness/score/control_chart.hpp"
#include "harness/score/trend.hpp"
#include "tests/catch.hpp"

namespace trackrod::test {

TEST_CASE("CUSUM: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3, to the digits that it prints") {
  const std::vector<double> x{324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600,
                              324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350};
  const std::vector<double> high{0, 0, 0,    0,    0.03, 0,     0,     0,     0,     0,
                                 0, 0, 3.01, 4.94, 7.45, 10.63, 11.99, 14.44, 16.00, 19.04};
  const std::vector<double> low{0, 0.01, 0, 0.33, 0, 0, 0.56, 0.72, 0.17, 0.25, 0.31, 0, 0, 0, 0, 0, 0, 0, 0, 0};
  const auto sums = cusum(x, 325.0, 0.3175);
  for (std::size_t i = 0; i < x.size(); ++i) {
    CAPTURE(i);
    CHECK(sums.high[i] == Approx(high[i]).margin(0.0051));
    CHECK(sums.low[i] == Approx(low[i]).margin(0.0051));
    CHECK((sums.high[i] > 4.1959) == (i + 1 >= 14));  // the handbook's limit, and its first alarm
    CHECK(sums.low[i] < 4.1959);
  }
}

TEST_CASE("CUSUM: a textbook's second table (target 99, slack 1, limit 10)") {
  const std::vector<double> x{102.0, 94.8, 98.3,  98.4, 102.0, 98.5, 99.0,  97.7,  100.0, 98.1,
                              101.3, 98.7, 101.1, 98.4, 97.0,  96.7, 100.3, 101.4, 97.2,  101.0};
  const std::vector<double> high{2.0, 0, 0, 0, 2.0, 0.5, 0, 0, 0, 0, 1.3, 0, 1.1, 0, 0, 0, 0.3, 1.7, 0, 1.0};
  const std::vector<double> low{0, 3.2, 2.9, 2.5, 0, 0, 0, 0.3, 0, 0, 0, 0, 0, 0, 1.0, 2.3, 0, 0, 0.8, 0};
  const auto sums = cusum(x, 99.0, 1.0);
  for (std::size_t i = 0; i < x.size(); ++i) {
    CAPTURE(i);
    CHECK(sums.high[i] == Approx(high[i]).margin(1e-9));
    CHECK(sums.low[i] == Approx(low[i]).margin(1e-9));
  }
}

TEST_CASE("EWMA: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4") {
  const std::vector<double> x{52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5,
                              49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1};
  const std::vector<double> printed{50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33,
                                    50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99};
  const auto z = ewma(x, 50.0, 0.3);
  for (std::size_t i = 0; i < x.size(); ++i) {
    CAPTURE(i);
    CHECK(z[i] == Approx(printed[i]).margin(0.0051));
  }
}

// Lucas and Saccucci, Technometrics 32 (1990), as textbooks tabulate them: pairs of share and width for a mean run of
// about 500 (from memory).
TEST_CASE("EWMA: widths for a mean run of 500, as Lucas and Saccucci tabulate them") {
  for (const auto& [share, width] :
       {std::pair{0.40, 3.054}, {0.25, 2.998}, {0.20, 2.962}, {0.10, 2.814}, {0.05, 2.615}}) {
    CAPTURE(share);
    CHECK(ewma_run_length(width, share) == Approx(500.0).epsilon(0.01));
    CHECK(ewma_width_for(500.0, share) == Approx(width).margin(0.005));
  }
  // A Shewhart chart is an EWMA of share 1: 1 / (2 (1 - Phi(3))) = 370.4 (any table of the normal distribution).
  CHECK(ewma_run_length(3.0, 1.0) == Approx(370.4).margin(0.1));
}

// Textbook values for slack 1/2: mean runs of 168 and 465 for limits of 4 and 5 standard deviations (from memory).
TEST_CASE("CUSUM: mean runs of 168 and 465 for limits of 4 and 5") {
  CHECK(cusum_run_length(4.0, 0.5) == Approx(168.0).epsilon(0.01));
  CHECK(cusum_run_length(5.0, 0.5) == Approx(465.0).epsilon(0.01));
  CHECK(cusum_limit_for(370.0, 0.5) == Approx(4.77).margin(0.01));
}

// SciPy: norm.ppf(t.cdf(sqrt(n / (n + 1)) * (x[n] - mean(x[:n])) / std(x[:n], ddof=1), n - 1)) of the handbook's EWMA
// values, at n = 10, 12 and 19.
TEST_CASE("values against all before them are those that SciPy finds") {
  const std::vector<double> x{52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5,
                              49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1};
  const auto scores = against_all_before(x, 10);
  REQUIRE(scores.size() == 10);
  CHECK(scores[0] == Approx(-0.2474676434).margin(1e-9));
  CHECK(scores[2] == Approx(0.0164365882).margin(1e-9));
  CHECK(scores[9] == Approx(0.8257838472).margin(1e-9));
}

// Dense matrices and SciPy's Student distribution on the same arrays.
TEST_CASE("trend: change, uncertainty, interval and memory are those that NumPy and SciPy find") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937_64 random{seed};
  std::normal_distribution<double> normal;
  std::vector<double> x, y;
  double e = normal(random);
  for (int i = 1; i <= 60; ++i) {
    e = 0.6 * e + 0.8 * normal(random);
    if (i % 7 == 3) continue;  // a cycle without a value
    x.push_back(i);
    y.push_back(5.0 + 0.02 * i + e);
  }
  const auto path = std::filesystem::temp_directory_path() / ("trackrod-trend-" + std::to_string(getpid()) + ".txt");
  {
    std::ofstream file{path};
    file.precision(17);
    for (const auto* v : {&x, &y}) {
      for (const double value : *v) file << value << " ";
      file << "\n";
    }
  }
  std::FILE* pipe = popen(
      ("/usr/bin/python3 " + std::string{TRACKROD_SOURCE_DIR} + "/tests/published/trend.py " + path.string()).c_str(),
      "r");
  REQUIRE(pipe);
  double change = 0, u = 0, low = 0, high = 0, memory = 0;
  CHECK(std::fscanf(pipe, "%lf %lf %lf %lf %lf", &change, &u, &low, &high, &memory) == 5);
  CHECK(pclose(pipe) == 0);
  std::filesystem::remove(path);
  const auto fit = fit_trend(x, y);
  CHECK(fit.change == Approx(change).epsilon(1e-6));
  CHECK(fit.standard_uncertainty == Approx(u).epsilon(1e-6));
  CHECK(fit.interval[0] == Approx(low).epsilon(1e-6));
  CHECK(fit.interval[1] == Approx(high).epsilon(1e-6));
  CHECK(fit.memory == Approx(memory).epsilon(1e-6));
}

}  // namespace trackrod::test
