// What a bench may do only where something wired limits every hazard, and what a proof of an interlock may be.

#include "tests/bench/demo.hpp"
#include "tests/catch.hpp"

using namespace trackrod;
using namespace trackrod::test;

namespace {

constexpr char all_but_torque[] = R"("hazards": {
  "over_travel": {"by": "end switches", "checked": "2026-11-02"},
  "over_current": {"by": "a fuse", "checked": "2026-11-02"},
  "over_temperature": {"by": "thermal switches", "checked": "2026-11-02"},
  "stored_energy": {"by": "bleed resistors", "checked": "2026-11-02"})";
constexpr char and_torque[] = R"(, "over_torque": {"by": "a slip clutch", "checked": "2026-11-02"})";
constexpr char interlocks[] = "\"interlocks\": {", of_fault[] = "\"what\": \"feed of the unit's";

// The demo bench with `text` before the place that `mark` shows.
std::string with(const std::string& text, const char* mark, const std::string& bench = demo_text()) {
  auto out = bench;
  const auto at = out.find(mark);
  REQUIRE(at != std::string::npos);
  return out.insert(at, text);
}

}  // namespace

TEST_CASE("an energetic fault needs a hard-wired limit of every hazard") {
  const auto energetic = with("\"energetic\": true, ", of_fault);
  CHECK(parse(energetic).sentences().find(
            "'sensor_a_feed_lost' is energetic, but nothing hard-wired limits 'over_torque', 'over_travel', "
            "'over_current', 'over_temperature', 'stored_energy'") != std::string::npos);
  const auto lacking = parse(with(std::string{all_but_torque} + "}, ", interlocks, energetic));
  CHECK(lacking.sentences().find("nothing hard-wired limits 'over_torque';") != std::string::npos);
  const auto whole = parse(with(std::string{all_but_torque} + and_torque + "}, ", interlocks, energetic));
  INFO(whole.sentences());
  REQUIRE(whole.bench);
  CHECK(whole.bench->hard_limits.size() == hazard_names().size());
  CHECK(whole.bench->hard_limits.front().by == "a slip clutch");
  CHECK(whole.bench->faults.front().energetic);
}

TEST_CASE("a bench that may run unattended needs a hard-wired limit of every hazard") {
  const std::string alone = "\"unattended\": true, ";
  CHECK(
      parse(with(alone, interlocks)).sentences().find("the bench may run unattended, but nothing hard-wired limits") !=
      std::string::npos);
  const auto whole = parse(with(alone + all_but_torque + and_torque + "}, ", interlocks));
  INFO(whole.sentences());
  REQUIRE(whole.bench);
  CHECK(whole.bench->unattended);
}

TEST_CASE("a refused section of hazards is told once") {
  const auto parsed = parse(with("\"unattended\": true, \"hazards\": 3, ", interlocks));
  CHECK(parsed.problems.size() == 1);
}

TEST_CASE("a contact is exercised, never confirmed; what can only be looked at may be confirmed") {
  const auto stop = [](const std::string& signal, const std::string& proof) {
    return parse(with("\"stop\": {\"signal\": \"" + signal +
                          "\", \"at_least\": \"1\", \"grace\": \"2 ms\", \"proof\": \"" + proof +
                          "\", \"protects\": \"people\"}, ",
                      "\"hand_torque\": {\n      \"signal\"",
                      with("\"chain\": {\"device\": \"hand\", \"field\": \"state\", \"unit\": \"1\", \"direction\": "
                           "\"read\", \"range\": [\"0\", \"1\"], \"bench_owned\": true}, ",
                           "\"hand.angle\": {")));
  };
  CHECK(stop("chain", "confirm").sentences().find("found 'confirm' for 'chain', a contact") != std::string::npos);
  const auto exercised = stop("chain", "exercise");
  INFO(exercised.sentences());
  REQUIRE(exercised.bench);
  CHECK(exercised.bench->interlocks.front().proof == Proof::exercise);
  CHECK(exercised.bench->interlocks.back().proof == Proof::none);
  CHECK(exercised.bench->proof_lasts == std::chrono::hours{12});
  CHECK(stop("hand.state", "confirm").bench);
}
