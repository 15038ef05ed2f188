// What a run tells whoever started it as a service, on a notification socket of our own (sd_notify(3)), and the
// person's notification command.

#include <sys/un.h>

#include "tests/catch.hpp"
#include "tests/system/demo_rig.hpp"

using namespace trackrod::test;

namespace {

constexpr char weave[] = R"({
  "plan": "weave", "control": {"hand_wheel": "position"}, "start": {"hand.angle_cmd": "0 deg", "vehicle.speed": "10 km/h"}, "settle": "100 ms",
  "steps": [{"do": "repeat", "times": TIMES, "steps": [
    {"do": "step", "name": "left", "signal": "hand.angle_cmd", "to": "10 deg", "slew": "400 deg/s", "for": "300 ms"},
    {"do": "step", "name": "right", "signal": "hand.angle_cmd", "to": "0 deg", "slew": "400 deg/s", "for": "300 ms"}]}],
  "criteria": [{"score": "step", "steps": ["left"], "signals": {"input": "hand.angle", "output": "road.angle"},
                "limits": [{"finding": "overshoot", "at_most": "60 %"}]}]
})";

bool has(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

// Stands for the service manager: the environment of what is started while it lives, and what that says.
class NotifySocket {
 public:
  NotifySocket(const std::string& path, std::chrono::microseconds watchdog) {
    socket_ = socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
    sockaddr_un address{};
    address.sun_family = AF_UNIX;
    path.copy(address.sun_path, sizeof address.sun_path - 1);
    demand(bind(socket_, reinterpret_cast<sockaddr*>(&address), sizeof address) == 0, "bind");
    setenv("NOTIFY_SOCKET", path.c_str(), 1);
    setenv("WATCHDOG_USEC", std::to_string(watchdog.count()).c_str(), 1);
  }
  NotifySocket(const NotifySocket&) = delete;
  NotifySocket& operator=(const NotifySocket&) = delete;
  ~NotifySocket() {
    unsetenv("NOTIFY_SOCKET");
    unsetenv("WATCHDOG_USEC");
    close(socket_);
  }
  // The lines that came so far, in order.
  const std::vector<std::string>& lines() {
    char piece[4096];
    for (ssize_t n = 0; (n = recv(socket_, piece, sizeof piece, 0)) > 0;) {
      std::istringstream text{std::string{piece, static_cast<std::size_t>(n)}};
      for (std::string line; std::getline(text, line);) lines_.push_back(line);
    }
    return lines_;
  }
  bool hears(const std::string& part, std::chrono::milliseconds limit) {
    return eventually([&] { return first(part) < lines().size(); }, limit);
  }
  // The place of the first line with this in it; the number of lines when there is none.
  std::size_t first(const std::string& part, std::size_t from = 0) {
    const auto& all = lines();
    while (from < all.size() && !has(all[from], part)) ++from;
    return from;
  }
  std::size_t count(const std::string& part, std::size_t from = 0) {
    std::size_t n = 0;
    for (auto at = first(part, from); at < lines().size(); at = first(part, at + 1)) ++n;
    return n;
  }

 private:
  int socket_;
  std::vector<std::string> lines_;
};

struct ServiceRig : DemoRig {
  explicit ServiceRig(int times) {
    write("weave.json", replaced(weave, "TIMES", std::to_string(times)));
    simulate();
  }
  std::unique_ptr<Process> run(const std::vector<std::string>& more = {}) const {
    return run_plan(file("weave.json"), more);
  }
  // Runs until the run has ended, and reads meanwhile.
  static int listen(NotifySocket& manager, Process& run) {
    demand(eventually([&] { return manager.lines(), !run.running(); }, 60s), "the run does not end");
    (void)manager.lines();
    return run.wait(1s);
  }
  // A notification command.
  std::string script(const std::string& body) const {
    write("tell", "#!/bin/sh\n" + body);
    std::filesystem::permissions(file("tell"), std::filesystem::perms::owner_all);
    return file("tell");
  }
};

}  // namespace

TEST_CASE("a service manager hears in order that a run is ready, what it does, and that it ends") {
  const ServiceRig rig{4};
  NotifySocket manager{rig.file("manager"), 2s};
  const auto run = rig.run();
  const int status = ServiceRig::listen(manager, *run);
  INFO(run->err());
  CHECK(status == 0);
  CAPTURE(manager.lines());
  const auto end = manager.lines().size();
  CHECK(manager.first("READY=1") == 0);
  CHECK(manager.count("READY=1") == 1);
  CHECK(manager.first("WATCHDOG=1") < manager.first("STATUS=step "));
  CHECK(manager.first("STATUS=step ") < manager.first("STOPPING=1"));
  CHECK(manager.first(", cycle ") < end);
  CHECK(manager.count("STOPPING=1") == 1);
  CHECK(manager.first("EXTEND_TIMEOUT_USEC=", manager.first("STOPPING=1")) < end);
  CHECK(manager.first("STATUS=the run ended: finished; 1 pass") == end - 1);
}

TEST_CASE("the signs of life stop with the loop, and come again when nothing is driven any more") {
  const ServiceRig rig{200};
  NotifySocket manager{rig.file("manager"), 60ms};  // a sign each 20 ms; the keeper waits 250 ms for its loop
  const auto run = rig.run();
  REQUIRE(manager.hears("STATUS=step ", 20s));
  const auto before = manager.lines().size();
  REQUIRE(eventually([&] { return manager.count("WATCHDOG=1", before) > 5; }, 20s));
  const pid_t loop = child_with(run->pid(), "loop");
  REQUIRE(loop > 0);
  kill(loop, SIGSTOP);
  const auto stopped = manager.lines().size();
  const int status = ServiceRig::listen(manager, *run);
  CAPTURE(manager.lines());
  CHECK(status == 3);
  const auto stopping = manager.first("STOPPING=1", stopped);
  REQUIRE(stopping < manager.lines().size());
  std::size_t between = 0;
  for (auto i = stopped; i < stopping; ++i) between += manager.lines()[i] == "WATCHDOG=1" ? 1 : 0;
  CHECK(between <= 4);  // 12 and more, were the heartbeat not looked at
  CHECK(manager.first("WATCHDOG=1", stopping) < manager.lines().size());
  CHECK(manager.first("hung", stopping) < manager.lines().size());
}

TEST_CASE("a request to end is told first of all, and the run says how it ended") {
  const ServiceRig rig{200};
  NotifySocket manager{rig.file("manager"), 2s};
  const auto run = rig.run();
  REQUIRE(manager.hears("STATUS=step ", 20s));
  run->signal(SIGTERM);
  CHECK(ServiceRig::listen(manager, *run) == 3);
  CAPTURE(manager.lines());
  CHECK(manager.first("STOPPING=1") < manager.first("EXTEND_TIMEOUT_USEC="));
  CHECK(manager.first("STATUS=the run ended: signal") == manager.lines().size() - 1);
}

TEST_CASE("a service manager that does not read delays nothing") {
  const ServiceRig rig{4};
  NotifySocket manager{rig.file("manager"), 6ms};  // its queue is full soon
  const auto run = rig.run();
  const int status = run->wait(60s);
  INFO(run->err());
  CHECK(status == 0);
  CHECK(manager.count("WATCHDOG=1") < 2000);
  const auto record = nlohmann::json::parse(slurp(rig.run_folder() + "/run.json"));
  CHECK(record.at("as_planned") == true);
}

TEST_CASE("the command is told of the end, with verdicts") {
  const ServiceRig rig{2};
  const auto program = rig.script("printf '%s|' \"$@\" >> '" + rig.file("told") + "'\n");
  const auto run = rig.run({"--notify", program});
  CHECK(run->wait(60s) == 0);
  INFO(run->err());
  CHECK(has(slurp(rig.file("told")), "ended|" + rig.run_folder() + "|the run ended: finished; 1 pass, 0 fail"));
}

TEST_CASE("the command is told of a trip at once, and one that hangs delays neither safe state nor run") {
  ServiceRig rig{200};
  const auto told = rig.file("told");
  const auto program =
      rig.script("[ -e '" + told + "' ] && exit 9\necho \"$$ $1 $3\" > '" + told + "'\nexec sleep 1000\n");
  const auto run = rig.run({"--notify", program});
  REQUIRE(eventually([&] { return has(run->err(), "step 2 of"); }, 20s));
  rig.end_simulator();
  REQUIRE(eventually([&] { return has(slurp(told), " tripped tripped: "); }, 20s));
  // While the command still hangs, the run ends, is written, and its end is told of.
  REQUIRE(eventually([&] { return has(run->err(), "told of 'ended'"); }, 25s));
  CHECK(has(run->err(), "report:"));
  CHECK(has(slurp(rig.run_folder() + "/run.log"), "status 9"));
  CHECK(run->running());
  pid_t hanging = 0;
  std::istringstream{slurp(told)} >> hanging;
  REQUIRE(hanging > 0);
  kill(hanging, SIGKILL);
  CHECK(run->wait(10s) == 5);  // nobody was there to take the safe state
  CHECK(has(run->err(), "of 'tripped'"));
}

TEST_CASE("a command that does not exist is refused before anything moves") {
  const ServiceRig rig{1};
  const auto run = rig.run({"--notify", rig.file("missing")});
  CHECK(run->wait(20s) == 2);
  CHECK(has(run->err(), "missing"));
  CHECK_FALSE(std::filesystem::exists(rig.file("runs")));
}
