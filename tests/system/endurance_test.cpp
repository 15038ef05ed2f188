// Long plans: cycles worked out while the run goes on, samples kept only around what happens, a repeat that ends when
// what it follows has changed.

#include <csignal>

#include "harness/capture/journal_capture.hpp"
#include "tests/catch.hpp"
#include "tests/system/demo_rig.hpp"

namespace trackrod::test {
namespace {

using Json = nlohmann::json;

// Sweeps of 2.2 s that are followed; `repeat` says how they end and what is kept, `limits` those of the drift.
std::string endurance(const std::string& repeat, const std::string& limits) {
  return R"({
    "plan": "short-endurance", "control": {"hand_wheel": "position"},
    "start": {"hand.angle_cmd": "0 deg", "vehicle.speed": "80 km/h", "road.load_cmd": "0 N"}, "settle": "1 s",
    "steps": [
      {"do": "repeat", )" +
         repeat + R"(, "steps": [
        {"do": "triangle", "name": "sweep", "signal": "hand.angle_cmd", "amplitude": "16 deg", "rate": "60 deg/s",
         "acceleration": "4000 deg/s^2", "cycles": 2},
        {"do": "hold", "name": "pause", "for": "100 ms"}]},
      {"do": "hold", "name": "rest", "for": "1 s"}],
    "criteria": [{"score": "drift", "of": {"score": "hysteresis"}, "finding": "width_apparent", "steps": ["sweep"],
      "signals": {"input": "hand.angle", "output": "road.angle"}, "limits": [)" +
         limits + R"(]}]})";
}

struct Rehearsed : DemoRig {
  int status{-1};
  std::string told;
  Json findings;

  int rehearse(const std::string& plan, const std::vector<std::string>& more = {}) {
    write("plan.json", plan);
    const auto program = rehearse_plan(file("plan.json"), more);
    status = program->wait(300s);
    told = program->err();
    findings = Json::parse(slurp(run_folder() + "/findings.json"))["findings"];
    return status;
  }
  Json finding(const std::string& name) const {
    for (const auto& f : findings)
      if (f["name"] == name) return f;
    throw std::runtime_error{"no finding '" + name + "'"};
  }
  std::string condition(const std::string& name, const std::string& of) const {
    return finding(name)["conditions"][of];
  }
  std::unique_ptr<JournalCapture> capture() const {
    return std::move(*JournalCapture::open(run_folder() + "/journal"));
  }
  std::vector<Json> rows(const std::string& key) const {
    std::vector<Json> out;
    std::istringstream lines{slurp(run_folder() + "/cycles.jsonl")};
    for (std::string line; std::getline(lines, line);)
      if (auto j = Json::parse(line); j.contains(key)) out.push_back(j);
    return out;
  }
  std::uintmax_t journal_size() const {
    std::uintmax_t size = 0;
    for (const auto& entry : std::filesystem::directory_iterator{run_folder() + "/journal"}) size += entry.file_size();
    return size;
  }
};

}  // namespace

TEST_CASE("what is worked out while a run goes on is what the whole capture gives") {
  Rehearsed whole, kept;
  const std::string limit = R"({"finding": "change", "within": ["-50 %", "50 %"]})";
  REQUIRE(whole.rehearse(endurance(R"("times": 200)", limit)) == 0);
  REQUIRE(kept.rehearse(endurance(R"("times": 200, "keep": {"whole_every": "2 min"})", limit)) == 0);
  REQUIRE(kept.findings.size() == whole.findings.size());
  for (std::size_t i = 0; i < kept.findings.size(); ++i) {
    CAPTURE(kept.findings[i].dump(2));
    CHECK(kept.findings[i]["value"] == whole.findings[i]["value"]);
    CHECK(kept.findings[i]["interval"] == whole.findings[i]["interval"]);
  }
  CHECK(kept.condition("drift.change", "cycles") == "200");

  const auto capture = kept.capture();
  SECTION("each cycle has its value and its summary") {
    CHECK(kept.rows("criterion").size() == 200);
    const auto passes = kept.rows("pass");
    REQUIRE(passes.size() == 200);
    for (std::size_t i = 0; i < passes.size(); ++i) REQUIRE(passes[i]["pass"] == i);
    const auto& angle = passes[100]["signals"]["hand.angle"];
    CHECK(angle["greatest"].get<double>() == Approx(16.0).margin(1.0));
    CHECK(angle["least"].get<double>() == Approx(-16.0).margin(1.0));
    CHECK(angle["samples"].get<int>() > 1000);
  }
  SECTION("samples are there of the first pass, of one every two minutes, and of the last seconds") {
    CHECK(capture->losses().empty());
    CHECK(capture->gaps().empty());
    std::vector<std::uint32_t> there;
    for (const auto& span : capture->spans())
      if (span.step == "sweep" && span.kept) there.push_back(span.cycle);
    // 200 passes of 2.25 s: 7.5 minutes.
    REQUIRE(there.size() >= 3);
    CHECK(there.size() < 30);
    CHECK(there.front() == 0);
    CHECK(kept.journal_size() * 4 < whole.journal_size());
    // Of the others nothing is left but blocks at their edges, in whichever segment they end.
    for (const auto& span : capture->spans()) {
      if (span.step != "sweep" || span.kept || span.to > capture->end() - 12s) continue;
      CAPTURE(span.cycle);
      CHECK(capture->points(*capture->find("hand.angle"), span.from + 200ms, span.to - 200ms)->empty());
    }
    for (const auto cycle : there) {
      const auto a = *capture->find("hand.angle");
      const auto span =
          *std::ranges::find_if(capture->spans(), [&](const Span& s) { return s.step == "sweep" && s.cycle == cycle; });
      CHECK(capture->points(a, span.from, span.to)->size() > 1000);
    }
  }
  // Stamps of a rehearsal are even, and take less than those of a run over real links.
  SECTION("the preview knew how much would be written: not half of it at least, nor four times as much") {
    for (const auto* rig : {&whole, &kept}) {
      const auto preview =
          rig->start({"--json", "preview", rig->file("plan.json"), "--bench", rig->bench()}, "preview");
      REQUIRE(preview->wait(20s) == 0);
      const auto expected = Json::parse(preview->out())["journal_bytes"].get<double>();
      const auto written = static_cast<double>(rig->journal_size());
      CAPTURE(expected, written);
      CHECK(expected > 0.5 * written);
      CHECK(expected < 4.0 * written);
    }
  }
  SECTION("scoring it again, from the folder alone, gives the same") {
    const auto again = kept.start({"--json", "score", kept.run_folder()}, "score");
    CHECK(again->wait(120s) == 0);
    const auto findings = Json::parse(slurp(kept.run_folder() + "/scores/002/findings.json"))["findings"];
    CHECK(findings == kept.findings);
  }
}

TEST_CASE("a repeat without end stops once what it follows has changed by more than it may, and what follows is run") {
  Rehearsed rig;
  // The play grows by 1 deg an hour: a width of some 0.4 deg is 20 % greater after about five minutes.
  const int status = rig.rehearse(endurance(R"("endless": true, "keep": {})",
                                            R"({"finding": "change", "within": ["-20 %", "20 %"], "stops": true})"),
                                  {"--truth-set", "road.play_growth=1 deg/h"});
  CAPTURE(rig.told);
  CHECK(status == 1);
  const auto run = Json::parse(slurp(rig.run_folder() + "/run.json"));
  CHECK(run["as_planned"] == true);
  CHECK(run["notes"].dump().find("which stops the repeat") != std::string::npos);
  const auto capture = rig.capture();
  CHECK(capture->spans().back().step == "rest");
  CHECK(capture->spans().back().complete);
  const auto ended = std::ranges::find(capture->events(), EventKind::repeat_ended, &Event::kind);
  REQUIRE(ended != capture->events().end());
  CHECK(static_cast<RepeatEnd>(ended->a) == RepeatEnd::limit);
  // Whole passes, as many as were announced.
  CHECK(static_cast<std::uint32_t>(std::ranges::count_if(
            capture->spans(), [](const Span& s) { return s.step == "sweep" && s.complete; })) == ended->b);
  CHECK(rig.finding("drift.change")["verdict"] == "fail");
}

TEST_CASE("the drift that the truth puts in is what is found") {
  Rehearsed rig;
  const double growth = 0.2;  // deg an hour
  REQUIRE(rig.rehearse(endurance(R"("times": 1000, "keep": {})", ""), {"--truth-set", "road.play_growth=0.2 deg/h"}) ==
          0);
  const auto passes = rig.rows("pass");
  const double hours =
      1e-9 * (passes.back()["from_ns"].get<double>() - passes.front()["from_ns"].get<double>()) / 3600.0;
  const auto change = rig.finding("drift.change");
  const double mean = std::stod(rig.condition("drift.change", "baseline_mean"));
  // What bends with the play in the loop's width is the play itself (docs/scores/hysteresis.md).
  CHECK(0.01 * mean * change["interval"][0].get<double>() <= growth * hours);
  CHECK(0.01 * mean * change["interval"][1].get<double>() >= growth * hours);
  CHECK(std::stod(rig.condition("drift.change", "change_in_unit")) == Approx(growth * hours).epsilon(0.1));
}

TEST_CASE("a real run is followed by a process of its own; when that is killed, nothing is lost") {
  DemoRig rig;
  rig.simulate();
  rig.write("plan.json", endurance(R"("lasts": "25 s", "keep": {"whole_every": "0 s"})", ""));
  const auto run = rig.run_plan(rig.file("plan.json"));
  REQUIRE(eventually(
      [&] { return run->err().find("pass") != std::string::npos || run->err().find("step") != std::string::npos; },
      20s));
  // Its child that follows, by its command.
  const auto kill_follower = [&] {
    for (const auto& entry : std::filesystem::directory_iterator{"/proc"}) {
      const auto command = slurp(entry.path().string() + "/cmdline");
      if (command.find(std::string{"follow\0", 7}) == std::string::npos ||
          command.find(rig.file("runs")) == std::string::npos)
        continue;
      kill(static_cast<pid_t>(std::stol(entry.path().filename().string())), SIGKILL);
      return true;
    }
    return false;
  };
  CHECK(eventually(kill_follower, 20s));
  REQUIRE(run->wait(150s) == 0);
  const auto capture = *JournalCapture::open(rig.run_folder() + "/journal");
  CHECK(capture->losses().empty());
  CHECK_FALSE(capture->left_out().empty());
  std::size_t passes = 0;
  for (const auto& span : capture->spans()) passes += span.step == "sweep" ? 1 : 0;
  std::size_t rows = 0;
  std::istringstream lines{slurp(rig.run_folder() + "/cycles.jsonl")};
  for (std::string line; std::getline(lines, line);) rows += Json::parse(line).contains("pass") ? 1 : 0;
  CHECK(passes > 8);
  CHECK(rows == passes);
}

}  // namespace trackrod::test
