// What a sign-off matrix comes to, and the margins in it.

#include "harness/report/limit_margin.hpp"
#include "tests/catch.hpp"
#include "tests/report/made_matrix.hpp"

using namespace trackrod;

namespace {

Finding with(double value, Limit limit, const std::string& unit = "ms", double u = 10.0) {
  auto f = example::judged(example::finding("degraded.some_time", value, 1.96 * u, unit), limit, Verdict::pass, "R");
  f.standard_uncertainty = u;
  return f;
}

}  // namespace

TEST_CASE("a margin is the limit less the value, in per cent of the limit; of two limits up to the nearer") {
  const auto most = margin_of(with(120.0, {Limit::Kind::at_most, 0.0, 150.0}));
  REQUIRE(most);
  CHECK(most->amount == 30.0);
  CHECK(*most->percent == 20.0);
  CHECK(margin_text(*most) == "30 ms (20 %)");
  CHECK(margin_text(*margin_of(with(0.01, {Limit::Kind::at_most, 0.0, 6.0}, "deg"))) == "5.99 deg (99.8 %)");
  CHECK(margin_of(with(120.0, {Limit::Kind::at_least, 100.0, 0.0}))->amount == 20.0);
  CHECK(margin_of(with(160.0, {Limit::Kind::at_most, 0.0, 150.0}))->amount == -10.0);
  CHECK(margin_of(with(3.0, {Limit::Kind::within, 2.0, 10.0}))->amount == 1.0);
  CHECK(*margin_of(with(3.0, {Limit::Kind::within, 2.0, 10.0}))->percent == 50.0);
  CHECK_FALSE(margin_of(with(1.0, {Limit::Kind::at_most, 0.0, 0.0}))->percent);
}

TEST_CASE("a count has no margin, nor has what has no value") {
  CHECK_FALSE(margin_of(with(1.0, {Limit::Kind::at_least, 1.0, 0.0}, "1")));
  auto none = with(1.0, {Limit::Kind::at_most, 0.0, 5.0});
  none.value.reset();
  CHECK_FALSE(margin_of(none));
}

TEST_CASE("the worst margin is the least in per cent of its limit; of the times the least of those") {
  const std::vector<Finding> all{with(100.0, {Limit::Kind::at_most, 0.0, 200.0}),
                                 with(5.4, {Limit::Kind::at_most, 0.0, 6.0}, "deg"),
                                 with(0.2, {Limit::Kind::at_most, 0.0, 1.0}, "s")};
  CHECK(worst_margin(all, MarginsOf::all)->unit == "deg");
  CHECK(worst_margin(all, MarginsOf::times)->unit == "ms");
  CHECK_FALSE(worst_margin({}, MarginsOf::all));
}

TEST_CASE("a false accept is what the probability of conformity leaves") {
  // A value one standard uncertainty inside a one-sided limit conforms with 84.13 % (table of the normal distribution).
  const auto p = false_accept(with(140.0, {Limit::Kind::at_most, 0.0, 150.0}));
  REQUIRE(p);
  CHECK(*p == Approx(0.1587).margin(5e-5));
  auto failed = with(140.0, {Limit::Kind::at_most, 0.0, 150.0});
  failed.verdict = Verdict::fail;
  CHECK(*false_accept(failed) == 0.0);
  auto bare = with(140.0, {Limit::Kind::at_most, 0.0, 150.0});
  bare.standard_uncertainty.reset();
  CHECK_FALSE(false_accept(bare));
}

TEST_CASE("coverage counts each cell once, and false accepts only in cells that pass") {
  auto s = example::sign_off();
  auto c = coverage_of(s.matrices[0]);
  CHECK(c.planned == 7);
  CHECK(c.run == 5);
  CHECK(c.pass == 1);
  CHECK(c.fail == 2);
  CHECK(c.inconclusive == 1);
  CHECK(c.not_run == 1);
  CHECK(c.waived == 1);
  CHECK(c.open == 1);
  CHECK(c.left_out == 1);
  CHECK(c.rows == 4);
  CHECK(c.rows_passed == 0);
  CHECK(c.limits == 12);
  CHECK(c.least_repetitions == 1);
  CHECK(coverage_text(c) ==
        "5 of 7 cells run: 1 pass, 2 fail, 1 inconclusive, 1 waived, 1 tried in vain, 1 open, 1 left out by the plan");
  s.matrices[0].cells[0].attempts[0].findings = {with(140.0, {Limit::Kind::at_most, 0.0, 150.0}),
                                                 with(5.0, {Limit::Kind::at_most, 0.0, 6.0}, "deg", 1.0)};
  c = coverage_of(s.matrices[0]);
  CHECK(c.false_accepts == Approx(2 * 0.1587).margin(1e-4));
  s.matrices[0].cells[0].attempts[0].findings[0].standard_uncertainty.reset();
  CHECK(coverage_of(s.matrices[0]).unknown_accepts == 1);
}

TEST_CASE("a cell with several attempts tells which of them decides") {
  const auto s = example::sign_off();
  const auto& m = s.matrices[0];
  CHECK(cell_words(m.cell(2, 1)) == "fail (2nd of 3)");
  CHECK(cell_words(m.cell(1, 0)) == "waived: fail");
  CHECK(cell_words(m.cell(1, 1)) == "open");
  CHECK(cell_words(m.cell(2, 0)) == "left out");
  CHECK(cell_reason(m.cell(3, 0)) == "degraded.warning_time: the interval lies across the limit");
}

TEST_CASE("the worst of cells and findings decides, and a waived fail is none, but no pass either") {
  auto s = example::sign_off();
  auto& m = s.matrices[0];
  CHECK(whole_state({}, s.matrices) == CellState::fail);
  m.cells = {example::tried(Verdict::pass), m.cells[2]};
  m.rows = {"a_open"};
  CHECK(whole_state({}, s.matrices) == CellState::waived);
  CHECK(exit_status(whole_state({}, s.matrices)) == 4);
  CHECK(whole_state(example::findings(), s.matrices) == CellState::fail);
  m.cells[1] = m.cells[0];
  CHECK(exit_status(whole_state({}, s.matrices)) == 0);
  CHECK_FALSE(whole_state({}, {}));
}
