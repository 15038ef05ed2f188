// Prints how often the stated 95 % intervals hold the truth, in thousands of captures with random truth, for every
// score, as the table of docs/honesty.md. Exit status 1 when a row is not what it claims.
//   honesty [captures, 4000] [seed, of the system's own when not given] [score, all when not given]

#include <algorithm>
#include <cstdio>
#include <iostream>
#include <random>

#include "tests/honesty/tally.hpp"

namespace {

using namespace trackrod::test;

std::string share(int n, int of) {
  char text[32];
  std::snprintf(text, sizeof text, "%.1f", of > 0 ? 100.0 * n / of : 0.0);
  return text;
}
std::string number(double value) {
  char text[32];
  std::snprintf(text, sizeof text, "%.2f", value);
  return text;
}

// The stratum that holds the truth least often, of those that say enough.
std::string worst(const Row& row) {
  std::string out = "-";
  double least = 2.0;
  for (const auto& [name, s] : row.strata) {
    if (s.of < 30 || static_cast<double>(s.held) / s.of >= least) continue;
    least = static_cast<double>(s.held) / s.of;
    out = name + " " + share(s.held, s.of);
  }
  return out;
}

std::string verdict(const std::vector<std::string>& complaints, Claim claim, bool& good) {
  if (claim == Claim::stranger) return "shown only";
  std::string out;
  for (const auto& c : complaints) out += (out.empty() ? "" : "; ") + c;
  good = good && out.empty();
  return out.empty() ? "yes" : "NO: " + out;
}

bool print(const Population& population, int captures, std::uint64_t seed) {
  bool good = true;
  // Thousands are judged by the bare limits.
  const auto limits = captures >= 4000 ? Limits::bare : Limits::with_chance;
  const auto counted = tally(population, captures, seed);
  for (const auto& row : counted.rows) {
    std::cout << "| " << population.score << "." << row.name << " | " << population.what << " | "
              << share(row.refused, row.captures) << " | " << share(row.held, row.stated()) << " | "
              << share(row.below, row.stated()) << " | " << share(row.above, row.stated()) << " | "
              << share(std::max(row.passed_high, row.passed_low), row.stated()) << " | " << number(row.bias) << " | "
              << number(row.width) << " | " << worst(row) << " | " << verdict(complaints(row, limits), row.claim, good)
              << " |\n";
    for (const auto& [reason, n] : row.refusals)
      std::cerr << population.score << "." << row.name << " refused " << n << ": " << reason << "\n";
  }
  for (const auto& c : counted.confusions)
    std::cout << "| " << population.score << "." << c.name << " | " << population.what << " | | "
              << share(c.captures() - c.wrong(), c.captures()) << " right | | | | | | wrong at most "
              << share(static_cast<int>(1e6 * c.wrong_at_most()), 1000000) << " | "
              << verdict(complaints(c, limits), population.claim, good) << " |\n";
  std::cout << std::flush;
  return good;
}

}  // namespace

int main(int count, char** words) {
  const int captures = count > 1 ? std::stoi(words[1]) : 4000;
  const std::uint64_t seed = count > 2 ? std::stoull(words[2]) : std::random_device{}();
  const std::string only = count > 3 ? words[3] : "";
  std::cout << captures << " captures a row, seed " << seed << "; shares in percent\n\n"
            << "| finding | of | refused | held | truth below | truth above | wrong pass, near the limit | bias, in u "
               "| width | "
               "worst kind of capture (held) | as claimed |\n"
               "| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |\n";
  bool good = true;
  for (const auto& population : populations())
    if (only.empty() || population.score == only) good = print(population, captures, seed) && good;
  return good ? 0 : 1;
}
