#pragma once
// An instrument that is written down line by line, and the talk with it over virtual time.

#include <algorithm>
#include <array>
#include <chrono>
#include <deque>
#include <functional>
#include <memory>

#include "drivers/protocol/scpi.hpp"
#include "tests/protocol/wire.hpp"

namespace trackrod::testing {

using namespace std::chrono_literals;

inline const std::string supply = R"({"kind": "scpi",
  "settings": {"voltage": {"write": "VOLT {}", "read_back": "VOLT?", "tolerance": 0.01, "digits": 2},
               "output": {"write": "OUTP {}", "read_back": "OUTP?", "digits": 0}},
  "readings": {"measured": {"query": "MEAS:VOLT?", "every": "20 ms"}}, "timeout": "50 ms"})";

// Steps of 1 ms. Each line that we send is kept and given to `answer`; what that returns arrives `delay` later.
class Talk {
 public:
  using Answer = std::function<std::string(const std::string&)>;
  explicit Talk(const std::string& settings = supply, Answer how = {})
      : protocol{make(settings)},
        answer{std::move(how)},
        shows_identity{settings.find("identify") != std::string::npos} {}

  void run(Duration time) {
    for (const auto end = now + time; now < end; now += 1ms) {
      while (!coming.empty() && coming.front().first <= now) {
        protocol->on_bytes(bytes(coming.front().second), stamp(now), sink);
        coming.pop_front();
      }
      for (int i = 0; i < 10; ++i) {
        const auto out = as_text(protocol->due(at(now)));
        if (out.empty()) break;
        REQUIRE(out.back() == '\n');
        if (!shows_identity && out == "*IDN?\n") {
          protocol->on_bytes(bytes("maker,model,0,1\n"), stamp(now), sink);
          continue;
        }
        sent.push_back(out.substr(0, out.size() - 1));
        sent_at.push_back(now);
        const auto reply = answer ? answer(sent.back()) : "";
        if (!reply.empty()) coming.emplace_back(now + delay, reply);
      }
      for (auto m = protocol->take_message(); m != 0; m = protocol->take_message())
        messages.push_back(static_cast<std::int32_t>(m));
    }
  }
  void set(const std::string& field, double value) { protocol->set(index(*protocol, field), value); }
  bool settled(const std::string& field) const { return protocol->settled(index(*protocol, field)); }
  std::vector<double> read(const std::string& field) const { return sink.of(index(*protocol, field)); }
  void forget() {
    sent.clear();
    sent_at.clear();
    messages.clear();
  }

  std::unique_ptr<Protocol> protocol;
  Answer answer;
  bool shows_identity;  // else *IDN? is answered here, and not kept
  Duration now{}, delay{2ms};
  std::vector<std::string> sent;
  std::vector<Duration> sent_at;
  std::vector<std::int32_t> messages;
  KeptFields sink;

 private:
  std::deque<std::pair<Duration, std::string>> coming;
};

// Obeys everything.
struct Instrument {
  std::string volts{"0.00"}, output{"0"};
  std::deque<std::string> errors;
  std::string operator()(const std::string& line) {
    if (line.rfind("VOLT ", 0) == 0) volts = line.substr(5);
    if (line.rfind("OUTP ", 0) == 0) output = line.substr(5);
    if (line == "VOLT?") return volts + "\n";
    if (line == "OUTP?") return output + "\r\n";
    if (line == "MEAS:VOLT?") return "+1.234500E+01\n";
    if (line != "SYST:ERR?") return "";
    if (errors.empty()) return "0,\"No error\"\n";
    const auto first = errors.front();
    errors.pop_front();
    return first + "\n";
  }
};

}  // namespace trackrod::testing
