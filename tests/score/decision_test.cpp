#include "harness/score/decision.hpp"

#include <limits>

#include "tests/catch.hpp"

namespace trackrod {
namespace {

Finding finding(double value, double half) {
  Finding f;
  f.value = value;
  f.standard_uncertainty = half / 2.0;
  f.interval = {{value - half, value + half}};
  return f;
}
Verdict verdict(Finding f, const Limit& limit, Rule rule) {
  judge(f, limit, rule, "R-1");
  CHECK(f.judged);
  CHECK(f.requirement == "R-1");
  return f.verdict;
}
const Limit at_most_5{Limit::Kind::at_most, 0.0, 5.0};
const Limit at_least_5{Limit::Kind::at_least, 5.0, 0.0};
const Limit from_2_to_5{Limit::Kind::within, 2.0, 5.0};

TEST_CASE("guarded passes only with the whole interval inside and fails only with the whole interval outside") {
  CHECK(verdict(finding(4.0, 0.9), at_most_5, Rule::guarded) == Verdict::pass);
  CHECK(verdict(finding(4.0, 1.0), at_most_5, Rule::guarded) == Verdict::pass);  // an end at the limit conforms
  CHECK(verdict(finding(4.5, 0.6), at_most_5, Rule::guarded) == Verdict::inconclusive);
  CHECK(verdict(finding(5.5, 0.6), at_most_5, Rule::guarded) == Verdict::inconclusive);
  CHECK(verdict(finding(5.5, 0.5), at_most_5, Rule::guarded) == Verdict::inconclusive);  // the limit itself conforms
  CHECK(verdict(finding(5.7, 0.6), at_most_5, Rule::guarded) == Verdict::fail);
  CHECK(verdict(finding(6.0, 0.9), at_least_5, Rule::guarded) == Verdict::pass);
  CHECK(verdict(finding(5.5, 0.9), at_least_5, Rule::guarded) == Verdict::inconclusive);
  CHECK(verdict(finding(4.0, 0.9), at_least_5, Rule::guarded) == Verdict::fail);
  CHECK(verdict(finding(3.5, 1.0), from_2_to_5, Rule::guarded) == Verdict::pass);
  CHECK(verdict(finding(3.5, 2.0), from_2_to_5, Rule::guarded) == Verdict::inconclusive);
  CHECK(verdict(finding(1.0, 0.5), from_2_to_5, Rule::guarded) == Verdict::fail);
  CHECK(verdict(finding(6.0, 0.5), from_2_to_5, Rule::guarded) == Verdict::fail);
}

TEST_CASE("only the end towards a one-sided limit matters") {
  CHECK(verdict(finding(1.0, 100.0), {Limit::Kind::at_most, 0.0, 101.0}, Rule::guarded) == Verdict::pass);
}

TEST_CASE("simple holds the value alone against the limit, and the limit conforms") {
  CHECK(verdict(finding(5.0, 3.0), at_most_5, Rule::simple) == Verdict::pass);
  CHECK(verdict(finding(5.0, 3.0), at_least_5, Rule::simple) == Verdict::pass);
  CHECK(verdict(finding(5.0001, 3.0), at_most_5, Rule::simple) == Verdict::fail);
  CHECK(verdict(finding(2.0, 3.0), from_2_to_5, Rule::simple) == Verdict::pass);
  CHECK(verdict(finding(1.9999, 3.0), from_2_to_5, Rule::simple) == Verdict::fail);
}

TEST_CASE("a finding without a value keeps what it came with and never passes") {
  Finding f;
  f.verdict = Verdict::inconclusive;
  f.reason = "not settled";
  CHECK(verdict(f, at_most_5, Rule::guarded) == Verdict::inconclusive);
  CHECK(verdict(f, at_most_5, Rule::simple) == Verdict::inconclusive);
  f.verdict = Verdict::not_run;
  CHECK(verdict(f, at_most_5, Rule::guarded) == Verdict::not_run);
}

TEST_CASE("a value that is no number, or whose uncertainty is not known, is inconclusive") {
  CHECK(verdict(finding(std::numeric_limits<double>::quiet_NaN(), 1.0), at_most_5, Rule::simple) ==
        Verdict::inconclusive);
  auto f = finding(1.0, 0.1);
  f.interval.reset();
  CHECK(verdict(f, at_most_5, Rule::guarded) == Verdict::inconclusive);
}

}  // namespace
}  // namespace trackrod
