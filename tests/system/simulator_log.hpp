#pragma once
// What the simulated bench says it received and did.

#include <cstdint>
#include <nlohmann/json.hpp>
#include <sstream>
#include <string>
#include <vector>

#include "tests/system/process.hpp"

namespace trackrod::test {

struct LogLine {
  std::int64_t t_ns{0};
  std::string what, signal;
  double value{0};
};

// The lines that are whole; a line that is being written is left out.
inline std::vector<LogLine> read_log(const std::string& path) {
  std::vector<LogLine> lines;
  std::istringstream text{slurp(path)};
  for (std::string line; std::getline(text, line) && !text.eof();) {
    const auto j = nlohmann::json::parse(line);
    LogLine l;
    l.t_ns = j.at("t_ns");
    l.what = j.at("what");
    l.signal = j.value("signal", "");
    l.value = j.contains("value") && j.at("value").is_number() ? j.at("value").get<double>() : 0.0;
    lines.push_back(l);
  }
  return lines;
}

// Values of one driven signal from `t_ns` on, in order.
inline std::vector<LogLine> commands(const std::vector<LogLine>& log, const std::string& signal,
                                     std::int64_t from = 0) {
  std::vector<LogLine> out;
  for (const auto& l : log)
    if (l.what == "command" && l.signal == signal && l.t_ns >= from) out.push_back(l);
  return out;
}

inline std::int64_t monotonic_ns() {
  timespec ts{};
  clock_gettime(CLOCK_MONOTONIC, &ts);
  return ts.tv_sec * 1'000'000'000LL + ts.tv_nsec;
}

}  // namespace trackrod::test
