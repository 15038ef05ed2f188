// A plug that is pulled in mid-run, and put in again. An independent program stands for the cable: it joins the
// terminal that the bench file names with that of the simulated supply, and the terminal vanishes with it, as an
// adapter's does.

#include "tests/catch.hpp"
#include "tests/system/demo_rig.hpp"
#include "tests/system/simulator_log.hpp"

using namespace trackrod::test;

namespace {

constexpr char sweep[] = R"({
  "plan": "sweep", "control": {"hand_wheel": "position"}, "start": {"hand.angle_cmd": "0 deg", "vehicle.speed": "10 km/h"}, "settle": "200 ms",
  "steps": [{"do": "triangle", "name": "sweep", "signal": "hand.angle_cmd", "amplitude": "20 deg", "centre": "0 deg",
             "rate": "60 deg/s", "cycles": 200}]
})";

class CabledRig {
 public:
  CabledRig() {
    rig.simulate({"drive.command_timeout=never"});
    rig.write("bench.json", replaced(slurp(rig.bench()), rig.file("supply") + "\"", adapter() + "\""));
    rig.write("sweep.json", sweep);
  }
  void plug_in() {
    cable_ = std::make_unique<Process>(
        std::vector<std::string>{"socat", "pty,raw,echo=0,link=" + adapter(), rig.file("supply") + ",raw,echo=0"},
        rig.file("cable"));
    REQUIRE(eventually([&] { return std::filesystem::exists(adapter()); }, 10s));
  }
  void unplug() { cable_.reset(); }
  std::string adapter() const { return rig.file("adapter"); }
  std::vector<LogLine> log() const { return read_log(rig.file("simulator.log")); }
  std::pair<int, std::string> look() const {
    const auto check = rig.start({"check", rig.bench(), "--live", "--for", "700 ms"});
    const int status = check->wait(30s);
    return {status, check->out() + check->err()};
  }

  DemoRig rig;

 private:
  std::unique_ptr<Process> cable_;
};

}  // namespace

TEST_CASE("a serial line that is unplugged in mid-run trips it, and a live check finds it when it is back") {
  CabledRig bench;
  bench.plug_in();
  const auto keeper = bench.rig.run_plan(bench.rig.file("sweep.json"));
  const bool sweeping = eventually([&] { return commands(bench.log(), "hand.angle_cmd").size() > 800; }, 20s);
  INFO(keeper->out() << keeper->err());
  REQUIRE(sweeping);

  const auto pulled = monotonic_ns();
  bench.unplug();
  // The drive is told to let go; that the supply is off nobody can confirm.
  CHECK(keeper->wait(60s) == 5);
  const auto record = nlohmann::json::parse(slurp(bench.rig.run_folder() + "/run.json"));
  CHECK(record.at("tripped") == true);
  CHECK(record.at("safe_state_reached") == false);
  CHECK(keeper->err().find("supply") != std::string::npos);
  const auto modes = commands(bench.log(), "hand.mode", pulled);
  REQUIRE_FALSE(modes.empty());
  CHECK(modes.back().value == 0.0);  // free

  const auto [gone, words] = bench.look();
  CAPTURE(words);
  CHECK(gone == 5);
  CHECK(words.find("NO LINK") != std::string::npos);
  bench.plug_in();
  const auto [back, more] = bench.look();
  CAPTURE(more);
  CHECK(back == 0);
}
