// The score `following` on an output in closed form: it goes at the rate that the input asks, dead time later, or at
// its own limit when that is lower.

#include "tests/score/drawn.hpp"
#include "tests/score/follower.hpp"
#include "tests/score/rig.hpp"

namespace trackrod::test {
namespace {

TEST_CASE("rates up to the limit are followed, and beyond it the output stays at the limit") {
  const auto result = score("following", swept({}, {50, 100, 200, 500, 800}, 1));
  CHECK(value_of(result, "rate_limit") == Approx(40.0).epsilon(0.01));
  CHECK(value_of(result, "followed_rate") == Approx(400.0).epsilon(0.01));
  std::vector<double> shares;
  for (const auto& f : result.findings)
    if (f.name == "following.share") shares.push_back(*f.value);
  REQUIRE(shares.size() == 5);
  for (std::size_t i = 0; i < 3; ++i) CHECK(shares[i] == Approx(100.0).margin(1.0));
  CHECK(shares[3] == Approx(80.0).margin(1.5));
  CHECK(shares[4] == Approx(50.0).margin(1.5));
}

TEST_CASE("an output that keeps up is behind by rate times dead time over ratio") {
  const auto result = score("following", swept({1000.0, 10.0, 0.02}, {50, 100, 200}, 2));
  std::vector<double> errors;
  for (const auto& f : result.findings)
    if (f.name == "following.error") errors.push_back(*f.value);
  REQUIRE(errors.size() == 3);
  CHECK(errors[1] == Approx(100.0 / 10.0 * 0.02).margin(0.03));
  CHECK(errors[2] == Approx(200.0 / 10.0 * 0.02).margin(0.03));
  // No limit was met, so there is none, and the greatest rate is the last one tried, said to be no more than that.
  CHECK_FALSE(finding_of(result, "rate_limit").value);
  const auto followed = finding_of(result, "followed_rate");
  REQUIRE(followed.value);
  CHECK(*followed.value == Approx(200.0).epsilon(0.01));
  CHECK(std::any_of(followed.conditions.begin(), followed.conditions.end(),
                    [](const auto& said) { return said.first == "all"; }));
}

TEST_CASE("an output that goes the other way is followed as well") {
  const auto result = score("following", swept({40.0, -10.0, 0.01}, {50, 200, 800}, 3));
  CHECK(value_of(result, "rate_limit") == Approx(40.0).epsilon(0.01));
}

TEST_CASE("one rate, no motion, nothing at all: each is told") {
  check_all_empty(score("following", swept({}, {100}, 4)), "two steps or more");
  auto c = swept({}, {50, 100}, 4);
  for (auto& p : c.samples[1]) p.value = 0.0;
  check_all_empty(score("following", c), "did not change");
  c.all_spans.clear();
  for (const auto& f : score("following", c).findings) CHECK(f.verdict == Verdict::not_run);
}

TEST_CASE("the rates are drawn with the intervals of their shares, and limit and followed rate marked") {
  const auto result = score("following", swept({}, {50, 100, 200, 500, 800}, 1));
  const auto& asked = result.figures.at(0).curves.at(1);
  std::size_t rung = 0;
  for (const auto& f : result.findings)
    if (f.name == "following.share") check_drawn(result, f, 0.01 * asked.y.at(rung++));
  check_marked(result, "limit", finding_of(result, "rate_limit"));
  check_marked(result, "followed up to", finding_of(result, "followed_rate"));
}

}  // namespace
}  // namespace trackrod::test
