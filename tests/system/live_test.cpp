// Looking at a bench, and its first motion, against the simulated bench as a process of its own.

#include <cmath>

#include "tests/catch.hpp"
#include "tests/system/demo_rig.hpp"
#include "tests/system/simulator_log.hpp"

namespace trackrod::test {
namespace {

using Json = nlohmann::json;

Json device_of(const Json& look, const std::string& name) {
  for (const auto& d : look["devices"])
    if (d["device"] == name) return d;
  FAIL("no device " << name);
  return {};
}
Json signal_of(const Json& look, const std::string& name) {
  for (const auto& s : look["signals"])
    if (s["signal"] == name) return s;
  FAIL("no signal " << name);
  return {};
}

// The simulator logs every command that reaches it.
bool nothing_driven(const DemoRig& rig) {
  for (const auto& line : read_log(rig.file("simulator.log")))
    if (line.what == "command") return false;
  return true;
}

TEST_CASE("a live check sees every device and signal, and drives nothing") {
  DemoRig rig;
  rig.simulate();
  const auto check = rig.start({"--json", "check", rig.bench(), "--live", "--for", "1 s"});
  const int status = check->wait(30s);
  CAPTURE(check->out(), check->err());
  REQUIRE(status == 0);
  const auto look = Json::parse(check->out());
  for (const auto* name : {"hand", "road", "unit", "supply"}) CHECK(device_of(look, name)["alive"] == true);
  CHECK(device_of(look, "supply")["answer"]["count"] > 5);
  CHECK(device_of(look, "hand")["answer"].is_null());
  const auto angle = signal_of(look, "hand.angle");
  CHECK(angle["in_range"] == true);
  CHECK(angle["unit"] == "deg");
  CHECK(angle["cycle"]["count"] > 100);
  CHECK(angle["calibration"].get<std::string>().find("demo-0113") != std::string::npos);
  CHECK(signal_of(look, "unit.road_angle")["value"].is_null());  // the unit has no power
  CHECK(nothing_driven(rig));
}

TEST_CASE("a live check shows the figures of a link that the bench names as signals") {
  DemoRig rig;
  rig.write("bench.json",
            replaced(slurp(rig.bench()), "\"hand.angle\": {",
                     R"("hand.silence": {"device": "hand", "field": "link.age", "unit": "ms", "direction": "read",
                        "range": ["0 ms", "10 s"], "bench_owned": true},
                        "hand.angle": {)"));
  rig.simulate();
  const auto check = rig.start({"--json", "check", rig.bench(), "--live", "--for", "1 s"});
  const int status = check->wait(30s);
  CAPTURE(check->out(), check->err());
  REQUIRE(status == 0);
  const auto silence = signal_of(Json::parse(check->out()), "hand.silence");
  CHECK(silence["unit"] == "ms");
  CHECK(silence["in_range"] == true);
  CHECK(silence["cycle"]["count"] > 100);
}

TEST_CASE("a live check shows the clock of a device that stamps its own samples") {
  DemoRig rig;
  rig.write("base.json", slurp(rig.bench()));
  auto bench =
      replaced(slurp(DemoRig::source("fixtures/demo_bench/bench-udp.json")), "\"bench.json\"", "\"base.json\"");
  const auto ports = free_ports(4);
  for (int i = 0; i < 4; ++i)
    bench = replaced(bench, "127.0.0.1:" + std::to_string(47116 + i),
                     "127.0.0.1:" + std::to_string(ports[static_cast<std::size_t>(i)]));
  rig.write("bench.json", replaced(bench, "\"timeout\": \"40 ms\"", "\"timeout\": \"250 ms\""));
  rig.simulate();
  const auto check = rig.start({"--json", "check", rig.bench(), "--live", "--for", "4 s"});
  const int status = check->wait(30s);
  CAPTURE(check->out(), check->err());
  REQUIRE(status == 0);
  const auto look = Json::parse(check->out());
  CHECK(device_of(look, "hand")["clocks"].empty());
  const auto clock = device_of(look, "encoder")["clocks"].at(0);
  CHECK(clock["message"] == "angle");
  // How near they are to the truth is a matter of virtual time; a loaded machine delays every message here.
  CHECK(clock["ahead_s"].get<double>() == Approx(12.5).margin(0.2));
  CHECK(std::abs(clock["fast_ppm"].get<double>()) < 5000.0);
  CHECK(clock["residual_us"].get<double>() >= 0.0);
  CHECK(check->err().find("OWN CLOCK") != std::string::npos);
}

TEST_CASE("a live check names the device that is not there, and finds it again when it is back") {
  DemoRig rig;
  const auto look = [&] {
    const auto check = rig.start({"check", rig.bench(), "--live", "--for", "700 ms"});
    const int status = check->wait(30s);
    return std::pair{status, check->out() + check->err()};
  };
  const auto [gone, words] = look();  // nobody stands in for the bench
  CAPTURE(words);
  CHECK(gone == 5);
  CHECK(words.find("SILENT") != std::string::npos);
  CHECK(words.find("NO LINK") != std::string::npos);  // the supply's terminal does not exist
  rig.simulate();
  const auto [back, more] = look();
  CAPTURE(more);
  CHECK(back == 0);
}

TEST_CASE("a nudge shows which sensors follow, which way and how far") {
  DemoRig rig;
  rig.simulate();
  const auto check =
      rig.start({"--json", "check", rig.bench(), "--live", "--for", "500 ms", "--nudge", "hand.angle_cmd", "--by",
                 "5 deg", "--runs", rig.file("runs"), "--confirmed-by", "test"});
  const int status = check->wait(60s);
  CAPTURE(check->out(), check->err());
  CHECK(status == 0);
  const auto findings = Json::parse(check->out())["findings"];
  bool seen = false;
  for (const auto& f : findings) {
    if (f["name"] != "polarity.gain" || f["signals"][1] != "hand.angle" || f["step"] != "out") continue;
    seen = true;
    CHECK(f["verdict"] == "pass");
    CHECK(f["value"].get<double>() == Approx(1.0).margin(0.05));
  }
  CHECK(seen);
  // What the devices said of themselves while they had power stays with the run.
  const auto record = Json::parse(slurp(rig.run_folder() + "/run.json"));
  REQUIRE(record["identities"].contains("supply"));
  CHECK(record["identities"]["supply"].size() >= 3);
}

TEST_CASE("a nudge that goes the wrong way is ended by its interlock") {
  DemoRig rig;
  rig.simulate();  // by the true bench file; then the file is made wrong
  rig.write("bench.json", replaced(slurp(rig.bench()), "\"gain\": 1.0", "\"gain\": -1.0"));
  const auto check = rig.start({"check", rig.bench(), "--live", "--for", "500 ms", "--nudge", "hand.angle_cmd", "--by",
                                "5 deg", "--runs", rig.file("runs"), "--confirmed-by", "test"});
  const int status = check->wait(60s);
  const auto words = check->out() + check->err();
  CAPTURE(words);
  CHECK(status == 3);
  CHECK(words.find("nudge_way") != std::string::npos);
}

TEST_CASE("a nudge is refused when it is none: too far, no such signal, or nobody confirmed it") {
  DemoRig rig;
  rig.simulate();
  const auto words_of = [&](std::vector<std::string> more) {
    std::vector<std::string> all{"check", rig.bench(), "--live", "--for", "300 ms", "--runs", rig.file("runs")};
    all.insert(all.end(), more.begin(), more.end());
    const auto check = rig.start(all);
    const int status = check->wait(30s);
    CHECK(status == 2);
    return check->out() + check->err();
  };
  CHECK(words_of({"--nudge", "hand.angle_cmd", "--by", "90 deg"}).find("a tenth of the range") != std::string::npos);
  CHECK(words_of({"--nudge", "hand.angel_cmd"}).find("did you mean 'hand.angle_cmd'") != std::string::npos);
  CHECK(words_of({"--nudge", "hand.angle_cmd"}).find("nobody confirmed") != std::string::npos);
  CHECK_FALSE(std::filesystem::exists(rig.file("runs")));
}

TEST_CASE("listening shows bytes and fields of what a device sends") {
  DemoRig rig;
  rig.simulate();
  const auto listen = rig.start({"--json", "listen", "hand", "--bench", rig.bench(), "--count", "20"});
  const int status = listen->wait(30s);
  CAPTURE(listen->out(), listen->err());
  CHECK(status == 0);
  std::istringstream lines{listen->out()};
  int count = 0;
  for (std::string line; std::getline(lines, line); ++count) {
    const auto j = Json::parse(line);
    CHECK(j["intact"] == true);
    CHECK(j["stamped_by"] == "kernel");
    CHECK(j["fields"].contains("angle"));
    CHECK(j["bytes"].get<std::string>().size() == 24 * 3 - 1);
  }
  CHECK(count == 20);
}

TEST_CASE("the self-check measures ticks, links and disk") {
  DemoRig rig;
  const auto check = rig.start({"--json", "selfcheck", "--for", "500 ms"});
  const int status = check->wait(60s);
  CAPTURE(check->out(), check->err());
  CHECK(status == 0);
  const auto facts = Json::parse(check->out());
  CHECK(facts["tick_late"]["count"] > 100);
  CHECK(facts["udp"]["count"] > 900);
  CHECK(facts["serial"]["count"] > 900);
  CHECK(facts["disk"]["count"] == 20);
  CHECK(facts["troubles"].empty());
}

}  // namespace
}  // namespace trackrod::test
