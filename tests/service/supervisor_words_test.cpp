// What the service manager is told, in virtual time. The words are those of sd_notify(3); keep-alives within half of
// the watchdog's time is what sd_watchdog_enabled(3) recommends.

#include "harness/service/supervisor_words.hpp"

#include <vector>

#include "tests/catch.hpp"

using namespace trackrod;
using namespace std::chrono_literals;

namespace {

BenchTime at(Duration t) { return BenchTime{10s + t}; }

struct Said {
  Duration when;
  std::string text;
};

// Asks every 10 ms from `from` to `to`, what is seen given by a function of time.
template <class F>
std::vector<Said> listen(SupervisorWords& words, Duration from, Duration to, F&& seen) {
  std::vector<Said> out;
  for (auto t = from; t < to; t += 10ms)
    if (auto text = words.due(at(t), seen(t)); !text.empty()) out.push_back({t, text});
  return out;
}

std::vector<Duration> times_of(const std::vector<Said>& said, const std::string& word) {
  std::vector<Duration> out;
  for (const auto& s : said)
    if (s.text.find(word) != std::string::npos) out.push_back(s.when);
  return out;
}

RunSeen beating(Duration t, const std::string& sentence = "") { return {RunPhase::driving, at(t), sentence}; }

}  // namespace

TEST_CASE("a run is ready with its first heartbeat, once") {
  SupervisorWords words{0s};
  CHECK(listen(words, 0s, 1s, [](Duration) { return RunSeen{}; }).empty());
  const auto said = listen(words, 1s, 3s, [](Duration t) { return beating(t); });
  REQUIRE(said.size() == 1);
  CHECK(said[0].when == 1s);
  CHECK(said[0].text == "READY=1\n");
}

TEST_CASE("signs of life come within half of the watchdog's time and stop with the loop's heartbeat") {
  constexpr Duration watchdog = 3s;
  SupervisorWords words{watchdog};
  const auto said =
      listen(words, 0s, 20s, [](Duration t) { return beating(std::min<Duration>(t, 10s)); });  // hangs at 10 s
  const auto signs = times_of(said, "WATCHDOG=1");
  REQUIRE(signs.size() > 5);
  CHECK(signs.front() == 0s);
  for (std::size_t i = 1; i < signs.size(); ++i) {
    CHECK(signs[i] - signs[i - 1] <= watchdog / 2);
    CHECK(signs[i] - signs[i - 1] >= watchdog / 4);  // no flood
  }
  CHECK(signs.back() > 8500ms);
  CHECK(signs.back() < 10s + watchdog / 2);
}

TEST_CASE("without a watchdog there is no sign of life, and none before the loop works") {
  SupervisorWords unwatched{0s}, early{3s};
  CHECK(times_of(listen(unwatched, 0s, 5s, [](Duration t) { return beating(t); }), "WATCHDOG").empty());
  CHECK(listen(early, 0s, 5s, [](Duration) { return RunSeen{}; }).empty());
}

TEST_CASE("what a run is doing is said at most once a second, the latest of it, on one line") {
  SupervisorWords words{0s};
  const auto said = listen(words, 0s, 5s, [](Duration t) { return beating(t, "tick\n" + std::to_string(t / 10ms)); });
  const auto times = times_of(said, "STATUS=");
  CHECK(times == std::vector<Duration>{0s, 1s, 2s, 3s, 4s});
  CHECK(said.back().text == "STATUS=tick 400\n");
}

TEST_CASE("the end is said once; the time to end grows only when nothing is driven any more") {
  SupervisorWords words{3s};
  listen(words, 0s, 1s, [](Duration t) { return beating(t); });
  const auto seen = [](Duration t) {
    return t < 2s ? RunSeen{RunPhase::stopping, at(t), ""} : RunSeen{RunPhase::finishing, at(2s), ""};
  };
  const auto said = listen(words, 1s, 65s, seen);
  CHECK(times_of(said, "STOPPING=1") == std::vector<Duration>{1s});
  CHECK(times_of(said, "EXTEND_TIMEOUT_USEC=60000000") == std::vector<Duration>{2s, 22s, 42s, 62s});
  // A slow disk does not kill what is done.
  CHECK(times_of(said, "WATCHDOG=1").back() > 63s);
}

TEST_CASE("a loop that hangs while it is to stop gives no sign of life") {
  SupervisorWords words{3s};
  const auto said = listen(words, 0s, 20s, [](Duration) { return RunSeen{RunPhase::stopping, at(0s), ""}; });
  CHECK(times_of(said, "WATCHDOG=1").back() < 1500ms);
}
