// The score `play` on a gap that is known exactly: one end held by a spring, a force on the other end, and friction in
// the gap. Between two stiff flanks the output stays until the force overcomes that friction.

#include "tests/score/drawn.hpp"
#include "tests/score/joint.hpp"
#include "tests/score/rig.hpp"

namespace trackrod::test {
namespace {

TEST_CASE("the gap, what bends beside it, and the force that crosses it are told apart") {
  for (const double compliance : {2e-4, 8e-4, 3e-3}) {
    CAPTURE(compliance);
    Joint joint;
    joint.compliance = compliance;
    const auto result = score("play", loaded(joint, 1));
    CHECK(value_of(result, "gap") == Approx(0.12).margin(0.002 + 1.0 * compliance));  // noise of the force is bent too
    CHECK(value_of(result, "compliance") == Approx(compliance).epsilon(0.01));
    CHECK(value_of(result, "crossing_force") == Approx(30.0).margin(6.0));
  }
}

TEST_CASE("no gap gives none, within what is stated, whatever bends") {
  Joint joint;
  joint.gap = 0.0;
  const auto f = finding_of(score("play", loaded(joint, 2)), "gap");
  REQUIRE(f.value);
  CAPTURE(*f.value);
  CHECK(std::abs(*f.value) < 3.0 * *f.standard_uncertainty);
  CHECK((*f.interval)[1] < 0.01);
}

TEST_CASE("friction of the held end shifts the loop and leaves the gap alone") {
  Joint joint;
  joint.held_friction = 100.0;
  const auto result = score("play", loaded(joint, 3));
  CHECK(value_of(result, "gap") == Approx(0.12).margin(0.003));
}

TEST_CASE("flanks that are not straight widen the interval of the gap") {
  Joint straight, bent;
  bent.curve = 1e-7;
  const auto a = finding_of(score("play", loaded(straight, 4)), "gap"),
             b = finding_of(score("play", loaded(bent, 4)), "gap");
  REQUIRE(b.value);
  CHECK(*b.standard_uncertainty > 5.0 * *a.standard_uncertainty);
  CHECK((*b.interval)[0] <= 0.12);
  CHECK((*b.interval)[1] >= 0.12);
}

TEST_CASE("an output that goes the other way has the same gap") {
  Joint joint;
  joint.compliance = -8e-4;
  joint.gap = -0.12;
  const auto result = score("play", loaded(joint, 5));
  CHECK(value_of(result, "gap") == Approx(0.12).margin(0.002));
  CHECK(value_of(result, "compliance") == Approx(-8e-4).epsilon(0.01));
}

TEST_CASE("a force that does not reverse, or nothing that moves, is told and not made up") {
  auto c = loaded({}, 6);
  for (auto& p : c.samples[0]) p.value += 1600.0;
  check_all_empty(score("play", c), "does not go through zero");
  c = loaded({}, 6);
  c.all_spans[0].to = at(4.0);  // up and half back
  check_all_empty(score("play", c), "two branches or more");
  c = loaded({}, 6);
  for (auto& p : c.samples[1]) p.value = 0.1;
  check_all_empty(score("play", c), "did not change");
  c.all_spans.clear();
  for (const auto& f : score("play", c).findings) CHECK(f.verdict == Verdict::not_run);
}

TEST_CASE("the picture shows the gap between the flanks, with its interval") {
  const auto result = score("play", loaded({}, 1));
  double low = 1e9;
  for (const auto& mark : result.figures.at(0).marks)
    if (mark.label == "gap, from") low = mark.value;
  check_marked(result, "to", finding_of(result, "gap"), low);
}

}  // namespace
}  // namespace trackrod::test
