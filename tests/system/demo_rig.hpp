#pragma once
// The demo bench with ports and a terminal of its own, so that tests do not meet, and its simulator as a process.

#include <arpa/inet.h>
#include <sys/socket.h>

#include <array>
#include <filesystem>
#include <memory>
#include <nlohmann/json.hpp>
#include <optional>
#include <stdexcept>

#include "tests/system/process.hpp"

namespace trackrod::test {

using namespace std::chrono_literals;

// Without the test library, so that the performance program can use the rig too.
inline void demand(bool good, const std::string& what) {
  if (!good) throw std::runtime_error{what};
}

// UDP ports that nothing uses just now; none of those of the shipped benches, which are replaced by them one after the
// other.
inline std::vector<int> free_ports(std::size_t count) {
  std::vector<int> sockets, ports;
  while (ports.size() < count) {
    const int s = socket(AF_INET, SOCK_DGRAM | SOCK_CLOEXEC, 0);
    sockaddr_in address{};
    address.sin_family = AF_INET;
    address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    socklen_t size = sizeof address;
    demand(bind(s, reinterpret_cast<sockaddr*>(&address), sizeof address) == 0, "bind");
    demand(getsockname(s, reinterpret_cast<sockaddr*>(&address), &size) == 0, "getsockname");
    sockets.push_back(s);
    const int port = ntohs(address.sin_port);
    if (port < 47000 || port > 47999) ports.push_back(port);
  }
  for (const int s : sockets) close(s);
  return ports;
}

inline std::string replaced(std::string text, const std::string& from, const std::string& to) {
  for (auto at = text.find(from); at != std::string::npos; at = text.find(from, at + to.size()))
    text.replace(at, from.size(), to);
  return text;
}

// The newest of the run folders in there; beside them lies the ledger.
inline std::string newest_run(const std::string& runs) {
  std::string newest;
  for (const auto& entry : std::filesystem::directory_iterator{runs})
    if (entry.is_directory()) newest = std::max(newest, entry.path().string());
  return newest;
}

class DemoRig {
 public:
  DemoRig() {
    char name[] = "/tmp/trackrod-test-XXXXXX";
    demand(mkdtemp(name) != nullptr, "no folder for the test");
    folder_ = name;
    ports_ = free_ports(shipped_ports.size());
    write("bench.json", moved_here(slurp(source("fixtures/demo_bench/bench.json"))));
    write("truth.json", slurp(source("fixtures/demo_bench/truth.json")));
  }
  DemoRig(const DemoRig&) = delete;
  DemoRig& operator=(const DemoRig&) = delete;
  ~DemoRig() {
    simulator_.reset();
    std::filesystem::remove_all(folder_);
  }

  static std::string source(const std::string& path) { return std::string{TRACKROD_SOURCE_DIR} + "/" + path; }
  std::string file(const std::string& name) const { return folder_ + "/" + name; }
  void write(const std::string& name, const std::string& text) const {
    std::ofstream{file(name), std::ios::binary} << text;
  }
  std::string bench() const { return file(bench_); }
  // Another shipped bench that is like the demo bench, from now on the one that is used.
  void take_bench(const std::string& name) {
    bench_ = name;
    write(name, moved_here(slurp(source("fixtures/demo_bench/" + name))));
  }

  // With "--set" for each truth, such as "road.dead_time=60 ms". Returns once it is ready.
  void simulate(const std::vector<std::string>& truths = {}) {
    std::vector<std::string> command{TRACKROD_PROGRAM, "simulate", "--bench", bench(), "--log", file("simulator.log")};
    for (const auto& t : truths) command.insert(command.end(), {"--set", t});
    simulator_ = std::make_unique<Process>(command, file("simulator"));
    const bool ready =
        eventually([&] { return simulator_->out().find("ready") != std::string::npos || !simulator_->running(); }, 10s);
    demand(ready && simulator_->running(), "the simulator did not start: " + simulator_->err());
  }
  Process& simulator() { return *simulator_; }
  void end_simulator() { simulator_.reset(); }

  std::unique_ptr<Process> start(std::vector<std::string> arguments, const std::string& log = "program") const {
    arguments.insert(arguments.begin(), TRACKROD_PROGRAM);
    return std::make_unique<Process>(arguments, file(log));
  }
  std::unique_ptr<Process> run_plan(const std::string& plan, const std::vector<std::string>& more = {}) const {
    std::vector<std::string> arguments{"--json",         "run", plan, "--bench", bench(), "--runs", file("runs"),
                                       "--confirmed-by", "test"};
    arguments.insert(arguments.end(), more.begin(), more.end());
    return start(arguments, "run");
  }
  std::unique_ptr<Process> rehearse_plan(const std::string& plan, const std::vector<std::string>& more = {}) const {
    std::vector<std::string> arguments{"--json", "rehearse", plan, "--bench", bench(), "--runs", file("runs")};
    arguments.insert(arguments.end(), more.begin(), more.end());
    return start(arguments, "rehearse");
  }
  std::string run_folder() const { return newest_run(file("runs")); }

 private:
  static constexpr std::array shipped_ports{47110, 47111, 47112, 47113, 47114, 47115, 47120, 47121};

  // A shipped bench file with the ports and terminals of this rig.
  std::string moved_here(std::string bench) const {
    for (std::size_t i = 0; i < shipped_ports.size(); ++i)
      bench =
          replaced(bench, "127.0.0.1:" + std::to_string(shipped_ports[i]), "127.0.0.1:" + std::to_string(ports_[i]));
    // A shared machine may stop the simulator's process for longer than a real device would ever be silent.
    bench = replaced(bench, "\"timeout\": \"20 ms\"", "\"timeout\": \"250 ms\"");
    for (const auto* supply : {"supply", "aux", "backup"})
      bench = replaced(bench, std::string{"/tmp/trackrod-demo-"} + supply, file(supply));
    return bench;
  }

  std::string folder_, bench_{"bench.json"};
  std::vector<int> ports_;
  std::unique_ptr<Process> simulator_;
};

struct Read {
  std::optional<double> value;
  double low{0}, high{0};
  double standard_uncertainty{0};
  std::string verdict, reason;
};

// The findings of that name, in order.
inline std::vector<Read> findings_named(const nlohmann::json& findings, const std::string& name) {
  std::vector<Read> out;
  for (const auto& f : findings.at("findings")) {
    if (f.at("name") != name) continue;
    Read r;
    if (!f.at("value").is_null()) r.value = f.at("value").get<double>();
    if (!f.at("interval").is_null()) {
      r.low = f.at("interval").at(0);
      r.high = f.at("interval").at(1);
    }
    if (!f.at("standard_uncertainty").is_null()) r.standard_uncertainty = f.at("standard_uncertainty");
    r.verdict = f.at("verdict").is_null() ? "" : f.at("verdict").get<std::string>();
    r.reason = f.at("reason").is_null() ? "" : f.at("reason").get<std::string>();
    out.push_back(r);
  }
  return out;
}

}  // namespace trackrod::test
