#include "harness/service/supervisor_words.hpp"

#include <algorithm>

namespace trackrod {
namespace {

using namespace std::chrono_literals;

constexpr Duration sentence_period = 1s, extension = 60s, longest_period = 200ms;

bool passed(const std::optional<BenchTime>& since, Duration time, BenchTime now) {
  return !since || now - *since >= time;
}

std::string on_one_line(std::string text) {
  std::replace(text.begin(), text.end(), '\n', ' ');
  return text;
}

}  // namespace

Duration SupervisorWords::period() const {
  return watchdog_ > Duration{} ? std::min(longest_period, watchdog_ / 12) : longest_period;
}

bool SupervisorWords::alive(BenchTime now, const RunSeen& seen) const {
  return seen.phase == RunPhase::finishing || (seen.beat != BenchTime{} && now - seen.beat < watchdog_ / 2);
}

std::string SupervisorWords::due(BenchTime now, const RunSeen& seen) {
  std::string out;
  const auto say = [&out](const std::string& line) { out += line + "\n"; };
  if (!ready_ && seen.beat != BenchTime{}) {
    ready_ = true;
    say("READY=1");
  }
  if (!stopping_ && seen.phase != RunPhase::driving) {
    stopping_ = true;
    say("STOPPING=1");
  }
  if (seen.phase == RunPhase::finishing && passed(extended_at_, extension / 3, now)) {
    extended_at_ = now;
    say("EXTEND_TIMEOUT_USEC=" + std::to_string(extension / std::chrono::microseconds{1}));
  }
  if (watchdog_ > Duration{} && passed(pinged_at_, watchdog_ / 3, now) && alive(now, seen)) {
    pinged_at_ = now;
    say("WATCHDOG=1");
  }
  if (seen.sentence != said_ && passed(said_at_, sentence_period, now)) {
    said_at_ = now;
    said_ = seen.sentence;
    say("STATUS=" + on_one_line(said_));
  }
  return out;
}

}  // namespace trackrod
