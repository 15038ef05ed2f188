// An order moves the bench once, soon, and by a person's name; in every other case nothing moves.

#include <sys/stat.h>

#include "tests/catch.hpp"
#include "tests/system/shift_rig.hpp"

using namespace trackrod::test;

namespace {

constexpr char small[] = R"({
  "plan": "small", "control": {"hand_wheel": "position"}, "start": {"hand.angle_cmd": "0 deg"}, "settle": "100 ms",
  "steps": [{"do": "step", "name": "left", "signal": "hand.angle_cmd", "to": "5 deg", "slew": "400 deg/s", "for": "300 ms"}]})";

bool has(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

template <class Rig>
struct Ordered : Rig {
  Ordered() { this->write("small plan.json", small); }
  std::string order() const { return this->file("night"); }
  void write_order(const std::string& more = "--confirmed-by = Ada Example\n") const {
    this->write("night", "# for tonight\n\n" + this->file("small plan.json") + "\n  --bench=" + this->bench() +
                             "\r\n--runs=" + this->file("runs") + "\n" + replaced(more, " = ", "="));
  }
  // As if it had been written then.
  void date(std::chrono::seconds ago) const {
    timespec now{};
    clock_gettime(CLOCK_REALTIME, &now);
    now.tv_sec -= ago.count();
    const timespec times[2]{now, now};
    demand(utimensat(AT_FDCWD, order().c_str(), times, 0) == 0, "the order cannot be dated");
  }
  std::unique_ptr<Process> obey() const { return this->start({"run-order", order()}, "order"); }
  // What is said when it is refused.
  std::string refused() const {
    const auto process = obey();
    CHECK(process->wait(20s) == 2);
    CHECK(this->run_folders() == 0);
    return process->err();
  }
  std::size_t run_folders() const {
    std::size_t n = 0;
    if (std::filesystem::exists(this->file("runs")))
      for (const auto& entry : std::filesystem::directory_iterator{this->file("runs")})
        n += entry.is_directory() ? 1 : 0;
    return n;
  }
};

}  // namespace

TEST_CASE("an order is obeyed once: it is gone before anything moves, and a second start finds none") {
  Ordered<DemoRig> rig;
  rig.simulate();
  rig.write_order();
  {
    const auto run = rig.obey();
    CHECK(eventually([&] { return rig.run_folders() == 1; }, 20s));
    CHECK_FALSE(std::filesystem::exists(rig.order()));
    CHECK(run->wait(60s) == 0);
    CHECK(has(run->out(), "CAUTION"));
  }
  CHECK(nlohmann::json::parse(slurp(rig.run_folder() + "/run.json")).at("confirmed_by") == "Ada Example");
  const auto again = rig.obey();
  CHECK(again->wait(20s) == 2);
  CHECK(has(again->err(), "obeyed already"));
  CHECK(rig.run_folders() == 1);
}

TEST_CASE("an order that is too old, dated in the future, or empty moves nothing") {
  const Ordered<DemoRig> rig;
  rig.write_order();
  rig.date(16min);
  CHECK(has(rig.refused(), "good for 15 min"));
  rig.date(-1min);
  CHECK(has(rig.refused(), "the clock was set"));
  rig.write("night", "# nothing\n\n");
  CHECK(has(rig.refused(), "says nothing"));
}

TEST_CASE("an order without a name, or with a wrong word, moves nothing and is gone all the same") {
  const Ordered<DemoRig> rig;
  const std::string words = GENERATE("", "--confirmed-by=Ada\n--no-such-option\n", "--confirmed-by=Ada\nrehearse\n");
  rig.write_order(words);
  CHECK_FALSE(rig.refused().empty());
  CHECK_FALSE(std::filesystem::exists(rig.order()));
}

TEST_CASE("an order proves no interlock") {
  Ordered<ShiftRig> rig;
  rig.write_order();
  CHECK(has(rig.refused(), "nobody proved this shift"));
}

TEST_CASE("an order that cannot be taken away is not obeyed") {
  const Ordered<DemoRig> rig;
  const auto process = rig.start({"run-order", "/proc/self/comm"});  // always new, and nobody may remove it
  CHECK(process->wait(20s) == 5);
  CHECK(has(process->err(), "cannot be taken away"));
  std::filesystem::create_symlink("/proc/self/comm", rig.order());
  CHECK(has(rig.refused(), "is no file"));
}
