#pragma once
// The demo bench for faults, whose interlocks have to be proven before it moves.

#include "tests/system/demo_rig.hpp"

namespace trackrod::test {

class ShiftRig : public DemoRig {
 public:
  ShiftRig() { take_bench("bench-faults.json"); }

  // `trackrod check --shift` with more words.
  std::unique_ptr<Process> check_shift(const std::vector<std::string>& more) const {
    std::vector<std::string> words{"check", bench(), "--shift", "--runs", file("runs")};
    words.insert(words.end(), more.begin(), more.end());
    return start(words, "shift");
  }
  // By a person at the simulated emergency stop.
  void prove() {
    const auto shift = check_shift({"--confirmed-by", "Ada", "--confirm", "hand_torque", "--confirm", "road_force"});
    const auto says = [&](const std::string& words) {
      return eventually([&] { return shift->out().find(words) != std::string::npos; }, 20s);
    };
    demand(says("Break it now"), "nobody was asked to press the stop: " + shift->err());
    simulator().signal(SIGUSR2);
    demand(says("Let it hold again"), "the pressed stop was not seen");
    simulator().signal(SIGUSR2);
    demand(shift->wait(20s) == 0, "not proven: " + shift->out() + shift->err());
  }
  std::string proofs() const { return slurp(file("runs/interlock-proofs.jsonl")); }
  void write_proofs(const std::string& text) const { write("runs/interlock-proofs.jsonl", text); }
};

}  // namespace trackrod::test
