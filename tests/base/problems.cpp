#include "harness/base/problems.hpp"

#include "tests/catch.hpp"

using namespace trackrod;

TEST_CASE("the nearest name is found over typing slips") {
  const std::vector<std::string> known{"hand.angle", "hand.torque", "hand.angle_cmd", "road.angle", "deg", "V"};
  CHECK(nearest("hand.angel", known) == "hand.angle");     // two letters exchanged
  CHECK(nearest("hand.angl", known) == "hand.angle");      // one left out
  CHECK(nearest("hannd.torque", known) == "hand.torque");  // one too many
  CHECK(nearest("hand.angle_cmt", known) == "hand.angle_cmd");
  CHECK(nearest("roadangle", known) == "road.angle");
  CHECK(nearest("dge", known) == "deg");
}

TEST_CASE("no name is suggested when none is near") {
  const std::vector<std::string> known{"hand.angle", "road.angle"};
  CHECK(nearest("supply", known).empty());
  CHECK(nearest("", known).empty());
  CHECK(nearest("x", {}).empty());
  CHECK(did_you_mean("supply", known).empty());
  CHECK(did_you_mean("hand.angel", known) == "did you mean 'hand.angle'?");
}

TEST_CASE("names are listed as people list them") {
  CHECK(one_of({}).empty());
  CHECK(one_of({"a"}) == "'a'");
  CHECK(one_of({"a", "b"}) == "'a' or 'b'");
  CHECK(one_of({"a", "b", "c"}) == "'a', 'b' or 'c'");
}

TEST_CASE("problems come out in the order of the file, and those at one place in the order they were found") {
  Problems problems;
  CHECK(problems.none());
  problems.add({"b", 1, 1, ""}, "third", "");
  problems.add({"a", 10, 2, ""}, "second", "");
  problems.add({"a", 9, 80, "/x"}, "first", "this", "do that");
  problems.add({"b", 1, 1, ""}, "fourth", "");
  CHECK(problems.count() == 4);
  std::string order;
  for (const auto& p : problems.sorted()) order += p.found + " ";
  CHECK(order == "first second third fourth ");
  CHECK(problems.sorted().front().sentence() == "a:9:80: /x: first; allowed: this; do that");
  CHECK(problems.sorted().back().sentence() == "b:1:1: fourth");
}
