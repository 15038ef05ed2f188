// A measured skew on its way from a run into the bench file, and what keeps it out.

#include <sys/stat.h>

#include "tests/catch.hpp"
#include "tests/system/demo_rig.hpp"

namespace trackrod::test {
namespace {

using Json = nlohmann::json;

// A bench with a file for its skews, and a run on it. The run was rehearsed, so that it does not depend on this
// machine, and is then marked as one of the rig.
class CalibrationRig : public DemoRig {
 public:
  explicit CalibrationRig(const std::string& skews,
                          const std::string& plan = slurp(source("tests/system/short_response.json"))) {
    write("skews.json", skews);
    write("plan.json", plan);
    const auto text = slurp(bench());
    const auto begin = text.find("{\n") + 1;
    write("bench.json", text.substr(0, begin) + "\"include\": [\"skews.json\"]," + text.substr(begin));
    const auto rehearsal = rehearse_plan(file("plan.json"));
    const int status = rehearsal->wait(60s);
    INFO(rehearsal->err());
    REQUIRE((status == 0 || status == 1 || status == 4));
    run_ = run_folder();
    mark("rehearsal", false);
  }
  const std::string& run() const { return run_; }
  void mark(const std::string& key, const Json& value) const {
    auto record = Json::parse(slurp(run_ + "/run.json"));
    record[key] = value;
    std::ofstream{run_ + "/run.json"} << record.dump(2);
  }
  std::string measured_on() const {
    return Json::parse(slurp(run_ + "/run.json"))["started"].get<std::string>().substr(0, 10);
  }
  std::string skews() const { return slurp(file("skews.json")); }

  struct Outcome {
    int status;
    std::string out, err;
  };
  Outcome calibrate(const std::string& late, const std::string& against, const std::vector<std::string>& more = {},
                    const std::string& into = "skews.json") const {
    std::vector<std::string> words{"--json", "calibrate", "--skew", late,     against,   "--from",
                                   run_,     "--bench",   bench(),  "--into", file(into)};
    words.insert(words.end(), more.begin(), more.end());
    const auto program = start(words, "calibrate");
    const int status = program->wait(60s);
    return {status, program->out(), program->err()};
  }
  // Refused for that reason, and nothing was written.
  void refuses(const Outcome& outcome, int status, const std::string& reason, const std::string& kept) const {
    CAPTURE(outcome.err);
    CHECK(outcome.status == status);
    CHECK(outcome.err.find(reason) != std::string::npos);
    CHECK(skews() == kept);
    CHECK_FALSE(std::filesystem::exists(file("skews.json.part")));
  }

 private:
  std::string run_;
};

double in_ms(const Json& text) {
  const auto words = text.get<std::string>();
  REQUIRE(words.substr(words.find(' ')) == " ms");
  return std::stod(words);
}

const std::string empty = "{\"skews\": []}\n";

TEST_CASE("a skew goes from a run into the bench file, in front of the older ones, and comments stay") {
  // Columns count characters: what stands before the list has more bytes than characters.
  const std::string head = "// größer als vorher\n{ /* µ */ \"skews\": [  // newest first\n";
  const std::string old = R"(      // before the new cable
      {"signal": "unit.hand_angle_a", "against": "hand.angle", "value": "9 ms", "u": "1 ms", "date": "2020-03-01"}
    ]
}
)";
  CalibrationRig rig{head + old};
  chmod(rig.file("skews.json").c_str(), 0644);
  const auto outcome = rig.calibrate("unit.hand_angle_a", "hand.angle", {"--steps", "weave"});
  INFO(outcome.err);
  REQUIRE(outcome.status == 0);

  const auto now = rig.skews();
  CHECK(now.substr(0, head.find("  // newest")) == head.substr(0, head.find("  // newest")));
  CHECK(now.find("// newest first\n" + old) != std::string::npos);
  const auto entry = Json::parse(now, nullptr, true, true)["skews"][0];
  CHECK(entry["signal"] == "unit.hand_angle_a");
  CHECK(entry["against"] == "hand.angle");
  CHECK(entry["date"] == rig.measured_on());
  CHECK(entry["used"].get<std::string>().find(std::filesystem::path{rig.run()}.filename().string()) !=
        std::string::npos);
  // fixtures/demo_bench/truth.json: hand.delay 2 ms less sensors.hand_delay 0.3 ms. Half a step of the unit's sensor
  // (0.1 deg) is 0.4 ms at 120 deg/s, of which rounding in step with the sampling leaves a part.
  CHECK(in_ms(entry["value"]) == Approx(1.7).margin(0.2));
  const auto told = Json::parse(outcome.out);
  CHECK(told["value"] == entry["value"]);
  CHECK(told["u"] == entry["u"]);
  // JCGM 100, table G.1: 1.96 covers 95 % of a normal distribution; both are told with three digits.
  CHECK(in_ms(told["expanded"]) == Approx(1.96 * in_ms(entry["u"])).epsilon(0.01));

  CHECK(rig.start({"check", rig.bench()})->wait(30s) == 0);
  struct stat about {};
  REQUIRE(stat(rig.file("skews.json").c_str(), &about) == 0);
  CHECK((about.st_mode & 0777) == 0644);
}

TEST_CASE("a skew goes into an empty list, and the other way round it has the other sign") {
  CalibrationRig rig{empty};
  const auto outcome = rig.calibrate("hand.angle", "unit.hand_angle_a");
  INFO(outcome.err);
  REQUIRE(outcome.status == 0);
  CHECK(in_ms(Json::parse(rig.skews())["skews"][0]["value"]) == Approx(-1.7).margin(0.2));
  CHECK(rig.start({"check", rig.bench()})->wait(30s) == 0);
}

TEST_CASE("a skew goes into a file with a byte order mark and all entries in one line") {
  const std::string begin = "\xEF\xBB\xBF{\"skews\": [";
  const std::string old =
      R"({"signal": "road.angle", "against": "hand.angle", "value": "9 ms", "u": "1 ms", "date": "2020-03-01"}]})";
  CalibrationRig rig{begin + old};
  const auto outcome = rig.calibrate("unit.hand_angle_a", "hand.angle");
  INFO(outcome.err);
  REQUIRE(outcome.status == 0);
  const auto now = rig.skews();
  CHECK(now.substr(0, begin.size()) == begin);
  CHECK(now.substr(now.size() - old.size()) == old);
  CHECK(Json::parse(now.substr(3))["skews"].size() == 2);
}

TEST_CASE("only a run of the rig that went as planned gives a skew") {
  CalibrationRig rig{empty};
  const auto calibrate = [&] { return rig.calibrate("unit.hand_angle_a", "hand.angle"); };
  SECTION("a rehearsal") {
    rig.mark("rehearsal", true);
    rig.refuses(calibrate(), 2, "a rehearsal", empty);
  }
  SECTION("tripped") {
    rig.mark("as_planned", false);
    rig.mark("ending", "tripped (interlock)");
    rig.refuses(calibrate(), 2, "tripped (interlock)", empty);
  }
  SECTION("without a safe state at its end") {
    rig.mark("safe_state_reached", false);
    rig.mark("notes", {"the safe state was not confirmed within its time"});
    rig.refuses(calibrate(), 2, "the safe state was not confirmed", empty);
  }
  SECTION("never ended") {
    rig.mark("ended", nullptr);
    rig.refuses(calibrate(), 2, "never ended", empty);
  }
  SECTION("with a part of its recording damaged") {
    const auto segment = std::filesystem::directory_iterator { rig.run() + "/journal" } -> path();
    auto bytes = slurp(segment.string());
    bytes[bytes.size() / 2] ^= 1;
    std::ofstream{segment, std::ios::binary} << bytes;
    rig.refuses(calibrate(), 2, "the journal lacks a part", empty);
  }
  SECTION("on another bench") {
    rig.write("bench.json", replaced(slurp(rig.bench()), "\"bench\": \"demo\"", "\"bench\": \"other\""));
    rig.refuses(calibrate(), 2, "is not what the run recorded on bench 'demo'", empty);
  }
  SECTION("with the signal from another field") {
    rig.write("bench.json", replaced(slurp(rig.bench()), "\"field\": \"hand_angle_a\"", "\"field\": \"hand_angle_b\""));
    rig.refuses(calibrate(), 2, "the same bench, device and field", empty);
  }
}

TEST_CASE("a pair that shows no skew writes nothing") {
  CalibrationRig rig{empty};
  rig.refuses(rig.calibrate("road.force", "hand.angle"), 4, "no step shows a skew", empty);
  rig.refuses(rig.calibrate("unit.hand_angle_a", "hand.angle", {"--sign", "opposite"}), 4, "no step shows a skew",
              empty);
}

TEST_CASE("steps that contradict each other write nothing, one of them alone is believed") {
  // The road wheel crosses the play of fixtures/demo_bench/truth.json later, the slower it is driven; the unit's own
  // sensor sits before the play.
  CalibrationRig rig{empty, R"({
    "plan": "two-rates", "control": {"hand_wheel": "position"},
    "start": {"hand.angle_cmd": "0 deg", "vehicle.speed": "10 km/h", "road.load_cmd": "0 N"}, "settle": "500 ms",
    "steps": [
      {"do": "triangle", "name": "fast", "signal": "hand.angle_cmd", "amplitude": "20 deg", "rate": "120 deg/s", "cycles": 3},
      {"do": "triangle", "name": "slow", "signal": "hand.angle_cmd", "amplitude": "20 deg", "rate": "30 deg/s", "cycles": 3}
    ],
    "criteria": []})"};
  rig.refuses(rig.calibrate("road.angle", "unit.road_angle"), 4, "steps 'fast' and 'slow' contradict", empty);
  const auto fast = rig.calibrate("road.angle", "unit.road_angle", {"--steps", "fast"});
  CAPTURE(fast.err);
  CHECK(fast.status == 0);
  CHECK(rig.skews().find("step 'fast'") != std::string::npos);
}

TEST_CASE("what is asked for wrongly is refused with what is allowed") {
  CalibrationRig rig{empty};
  rig.refuses(rig.calibrate("unit.hand_angel_a", "hand.angle"), 2, "did you mean 'unit.hand_angle_a'", empty);
  rig.refuses(rig.calibrate("hand.angle", "hand.angle_cmd"), 2, "allowed: a read signal", empty);
  rig.refuses(rig.calibrate("hand.angle", "hand.angle"), 2, "against itself", empty);
  const auto with = [&](const std::vector<std::string>& more) {
    return rig.calibrate("unit.hand_angle_a", "hand.angle", more);
  };
  rig.refuses(with({"--steps", "waeve"}), 2, "did you mean 'weave'", empty);
  rig.refuses(with({"--sign", "either"}), 2, "'same' or 'opposite'", empty);
  rig.refuses(with({"--longest", "1 h"}), 2, "--longest", empty);
}

TEST_CASE("an entry goes only into a file of the bench in which it counts") {
  SECTION("a file of another bench") {
    CalibrationRig rig{empty};
    rig.write("stray.json", empty);
    rig.refuses(rig.calibrate("unit.hand_angle_a", "hand.angle", {}, "stray.json"), 2, "a file of the bench", empty);
    CHECK(slurp(rig.file("stray.json")) == empty);
  }
  SECTION("a file without a list of skews") {
    CalibrationRig rig{empty};
    const auto before = slurp(rig.bench());
    rig.refuses(rig.calibrate("unit.hand_angle_a", "hand.angle", {}, "bench.json"), 2, "found no list \"skews\"",
                empty);
    CHECK(slurp(rig.bench()) == before);
  }
  SECTION("beside a newer one") {
    const std::string newer =
        R"({"skews": [{"signal": "unit.hand_angle_a", "against": "hand.angle", "value": "1 ms", "u": "1 ms",
                       "date": "2999-01-01"}]})";
    CalibrationRig rig{newer};
    rig.refuses(rig.calibrate("unit.hand_angle_a", "hand.angle"), 2, "goes on with that of 2999-01-01", newer);
  }
  SECTION("against a signal that has a skew itself") {
    const std::string chained =
        R"({"skews": [{"signal": "hand.angle", "against": "hand.torque", "value": "1 ms", "u": "1 ms",
                       "date": "2020-01-01"}]})";
    CalibrationRig rig{chained};
    rig.refuses(rig.calibrate("unit.hand_angle_a", "hand.angle"), 2, "has a skew itself", chained);
  }
}

}  // namespace
}  // namespace trackrod::test
