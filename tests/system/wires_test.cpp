// Whole runs over links that the demo bench does not use: a supply on TCP, a drive that is reached through a group.

#include <csignal>

#include "tests/catch.hpp"
#include "tests/system/demo_rig.hpp"
#include "tests/system/simulator_log.hpp"

using namespace trackrod::test;

namespace {

constexpr char sweep[] = R"({
  "plan": "sweep", "control": {"hand_wheel": "position"}, "start": {"hand.angle_cmd": "0 deg", "vehicle.speed": "10 km/h"}, "settle": "200 ms",
  "steps": [{"do": "triangle", "name": "sweep", "signal": "hand.angle_cmd", "amplitude": "20 deg", "centre": "0 deg",
             "rate": "60 deg/s", "cycles": CYCLES}]
})";

struct OtherWires {
  DemoRig rig;

  OtherWires() {
    const auto tcp = std::to_string(free_ports(1)[0]);
    auto bench = slurp(rig.bench());
    const auto serial = R"({"kind": "serial", "path": ")" + rig.file("supply") + R"(", "baud": 115200})";
    REQUIRE(bench.find(serial) != std::string::npos);
    bench = replaced(bench, serial, R"({"kind": "tcp", "peer": "127.0.0.1:)" + tcp + R"("})");
    // The first device is the drive on the hand wheel.
    const std::string peer = R"("peer": "127.0.0.1:)";
    const auto at = bench.find(peer);
    REQUIRE(at != std::string::npos);
    const auto from = at + peer.size(), end = bench.find('"', from);
    const auto port = bench.substr(from, end - from);
    bench.replace(at, end + 1 - at,
                  R"("peer": "239.17.71.17:)" + port + R"(", "from": "127.0.0.1:)" + port + R"(", "loop": true)");
    rig.write("bench.json", bench);
    rig.simulate({"drive.command_timeout=never"});
  }
  std::unique_ptr<Process> run(int cycles) const {
    rig.write("sweep.json", replaced(sweep, "CYCLES", std::to_string(cycles)));
    return rig.run_plan(rig.file("sweep.json"));
  }
  std::vector<LogLine> log() const { return read_log(rig.file("simulator.log")); }
};

}  // namespace

TEST_CASE("a plan runs to its end over a group and a TCP connection, which pass from process to process") {
  const OtherWires wires;
  const auto keeper = wires.run(1);
  const int status = keeper->wait(60s);
  INFO(keeper->out() << keeper->err());
  CHECK(status == 0);
  const auto record = nlohmann::json::parse(slurp(wires.rig.run_folder() + "/run.json"));
  CHECK(record.at("safe_state_reached") == true);
  CHECK(commands(wires.log(), "hand.angle_cmd").size() > 500);
}

TEST_CASE("when the loop is killed, the keeper drives the safe state over the same group and connection") {
  const OtherWires wires;
  const auto keeper = wires.run(200);
  REQUIRE(eventually([&] { return commands(wires.log(), "hand.angle_cmd").size() > 800; }, 20s));
  const auto loop = child_with(keeper->pid(), "loop");
  REQUIRE(loop > 0);
  const auto killed = monotonic_ns();
  kill(loop, SIGKILL);
  CHECK(keeper->wait(60s) == 3);
  REQUIRE(eventually([&] { return !commands(wires.log(), "supply.output", killed).empty(); }, 5s));
  CHECK(commands(wires.log(), "supply.output", killed).back().value == 0.0);
  const auto modes = commands(wires.log(), "hand.mode", killed);
  REQUIRE_FALSE(modes.empty());
  CHECK(modes.back().value == 0.0);
}
