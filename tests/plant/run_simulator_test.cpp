// The simulated bench as a process, over real sockets and a real terminal.

#include "fixtures/simulator/run_simulator.hpp"

#include <arpa/inet.h>
#include <signal.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

#include <filesystem>
#include <map>
#include <nlohmann/json.hpp>
#include <sstream>

#include "drivers/device/device_set.hpp"
#include "fixtures/simulator/lateness.hpp"
#include "tests/bench/demo.hpp"
#include "tests/catch.hpp"

using namespace trackrod;
using namespace std::chrono_literals;
namespace fs = std::filesystem;

namespace {

int free_port() {
  const int s = socket(AF_INET, SOCK_DGRAM | SOCK_CLOEXEC, 0);
  sockaddr_in address{};
  address.sin_family = AF_INET;
  address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  socklen_t size = sizeof address;
  REQUIRE(bind(s, reinterpret_cast<sockaddr*>(&address), sizeof address) == 0);
  REQUIRE(getsockname(s, reinterpret_cast<sockaddr*>(&address), &size) == 0);
  close(s);
  return ntohs(address.sin_port);
}

// The demo bench on ports and a path of its own, and its simulator in a child process.
class Running {
 public:
  explicit Running(const Truth& truth = {}) {
    char name[] = "/tmp/trackrod-simulator-XXXXXX";
    REQUIRE(mkdtemp(name) != nullptr);
    folder_ = name;
    auto text = test::demo_text();
    for (int i = 0; i < 6; ++i) {
      const auto from = "127.0.0.1:" + std::to_string(47110 + i);
      text.replace(text.find(from), from.size(), "127.0.0.1:" + std::to_string(free_port()));
    }
    const std::string path = "/tmp/trackrod-demo-supply";
    text.replace(text.find(path), path.size(), port());
    bench_ = std::move(test::parse(text).bench);
    REQUIRE(bench_);
    int ready[2];
    REQUIRE(pipe(ready) == 0);
    std::fflush(nullptr);  // or the child would say what this program has not said yet
    child_ = fork();
    if (child_ == 0) {
      dup2(ready[1], STDOUT_FILENO);
      const auto result = run_simulator(*bench_, truth, {log(), 1});
      if (!result) std::fprintf(stderr, "%s\n", result.error().context.c_str());
      _exit(result ? 0 : 5);
    }
    close(ready[1]);
    char c = 0;
    while (read(ready[0], &c, 1) == 1 && c != '\n') line_ += c;
    close(ready[0]);
  }
  ~Running() {
    if (child_ > 0) {
      kill(child_, SIGKILL);
      waitpid(child_, nullptr, 0);
    }
    fs::remove_all(folder_);
  }
  Running(const Running&) = delete;
  Running& operator=(const Running&) = delete;

  std::string port() const { return folder_ + "/supply"; }
  std::string log() const { return folder_ + "/log"; }
  const std::string& ready_line() const { return line_; }
  const Bench& bench() const { return *bench_; }
  void signal(int number) const { kill(child_, number); }
  int end() {
    int status = 0;
    kill(child_, SIGTERM);
    waitpid(child_, &status, 0);
    child_ = -1;
    return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
  }

 private:
  std::string folder_, line_;
  std::unique_ptr<Bench> bench_;
  pid_t child_{-1};
};

struct LastSamples final : SampleSink {
  std::map<SignalIndex, Sample> of;
  void put(const Sample& s) noexcept override { of[s.signal] = s; }
};

// Talks to the simulator as the bench does until `done`, for at most 20 s; false: it never came.
template <class Done>
bool talk(DeviceSet& set, LastSamples& latest, Done done) {
  SteadyTime time;
  const auto start = time.now();
  for (auto due = start; due < start + 20s; due += 1ms) {
    time.sleep_until(due);
    std::array<std::byte, 2048> bytes{};
    for (std::size_t i = 0; i < set.links.size(); ++i) {
      for (auto got = set.links[i]->receive(bytes, time.now()); got.state == Received::State::bytes;
           got = set.links[i]->receive(bytes, time.now()))
        set.devices[i]->arrived(std::span{bytes}.first(got.size), got.stamp, latest);
      set.devices[i]->transmit(time.now());
    }
    if (done()) return true;
  }
  return false;
}

std::vector<nlohmann::json> lines_of(const std::string& path) {
  std::vector<nlohmann::json> lines;
  std::istringstream text{test::slurp(path)};
  for (std::string line; std::getline(text, line);) lines.push_back(nlohmann::json::parse(line));
  return lines;
}

}  // namespace

TEST_CASE("the simulator process speaks over sockets and a terminal, logs what it did, and ends cleanly") {
  Running running;
  REQUIRE_THAT(running.ready_line(), Catch::StartsWith("simulated bench ready: demo"));
  CHECK(fs::is_symlink(running.port()));
  auto opened = open_devices(running.bench());
  REQUIRE(opened);
  auto& set = *opened;
  LastSamples latest;
  const auto drive = [&](const std::string& signal, double value) {
    const auto index = *running.bench().find(signal);
    CHECK(set.devices[running.bench().signals[index].device]->set(index, value));
  };
  const auto value = [&](const std::string& signal) { return latest.of[*running.bench().find(signal)].value; };
  for (const auto* zero : {"hand.angle_cmd", "hand.torque_cmd", "road.load_cmd", "vehicle.speed"}) drive(zero, 0.0);
  drive("hand.mode", 0.0);
  drive("unit.ignition", 1.0);
  drive("supply.voltage_cmd", 13.5);
  drive("supply.output", 1.0);
  CHECK(talk(set, latest, [&] { return value("unit.state") == 2.0; }));
  drive("hand.mode", 1.0);
  drive("hand.angle_cmd", 10.0);
  CHECK(talk(set, latest, [&] { return std::abs(value("hand.angle") - 10.0) < 0.2; }));
  drive("hand.mode", 0.0);
  CHECK(talk(set, latest, [&] { return value("hand.state") == 0.0; }));
  CHECK(value("supply.voltage") == Approx(13.5).margin(0.2));

  running.signal(SIGUSR1);
  CHECK(running.end() == 0);
  CHECK_FALSE(fs::is_symlink(fs::symlink_status(running.port())));

  const auto lines = lines_of(running.log());
  std::vector<double> modes;
  std::size_t summaries = 0;
  std::int64_t last = 0;
  for (const auto& line : lines) {
    CHECK(line.at("t_ns").get<std::int64_t>() >= last);
    last = line.at("t_ns");
    if (line.at("what") == "command" && line.at("signal") == "hand.mode") modes.push_back(line.at("value"));
    if (line.at("what") == "summary") ++summaries;
  }
  CHECK(modes == std::vector<double>{0.0, 1.0, 0.0});
  CHECK(summaries == 2);
  CHECK(lines.back().at("late_us").at("max").get<double>() > 0.0);
  CHECK(lines.back().at("turns").get<int>() > 300);
  CHECK(lines.back().at("hand_angle").get<double>() == Approx(10.0).margin(0.5));
}

TEST_CASE("the simulator refuses to put its terminal where something else is") {
  Running running;
  REQUIRE(!running.ready_line().empty());
  REQUIRE(running.end() == 0);
  std::ofstream{running.port()} << "precious";
  const auto result = run_simulator(running.bench(), Truth{}, {});
  REQUIRE_FALSE(result);
  CHECK_THAT(result.error().context, Catch::Contains("device 'supply'") && Catch::Contains(running.port()));
  CHECK(test::slurp(running.port()) == "precious");
}

TEST_CASE("lateness is counted by the microsecond") {
  Lateness lateness;
  for (int i = 1; i <= 100; ++i) lateness.add(std::chrono::microseconds{i});
  lateness.add(1s);
  lateness.skip(3);
  CHECK(lateness.turns() == 101);
  CHECK(lateness.skipped() == 3);
  CHECK(lateness.quantile(0.5) == 51us);
  CHECK(lateness.quantile(0.98) == 99us);
  CHECK(lateness.greatest() == 1s);
}
