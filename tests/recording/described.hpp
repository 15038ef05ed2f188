#pragma once
// Descriptions and what is read by them, for tests.

#include <cmath>
#include <map>

#include "harness/recording/reading.hpp"
#include "tests/catch.hpp"

namespace trackrod::test {

inline std::unique_ptr<ImportDescription> description_of(const std::string& text) {
  Problems problems;
  auto out = parse_description(text, "as.json", problems);
  std::string told;
  for (const auto& p : problems.sorted()) told += p.sentence() + "\n";
  INFO(told);
  REQUIRE(out);
  return out;
}

// A CSV with the time in `t` and one signal `a` in `a`; `more` are further keys, each with a comma in front.
inline std::string csv_description(const std::string& more = "", const std::string& time = R"({"column": "t"})",
                                   const std::string& signals = R"({"a": {"column": "a", "unit": "deg"}})") {
  return R"({"import": "logger", "kind": "csv", "time": )" + time + R"(, "signals": )" + signals + more + "}";
}

class Kept final : public RecordingSink {
 public:
  struct Value {
    std::int64_t ns;
    double value;
  };
  Result<void> at(BenchTime when) override {
    rows.push_back(when.time_since_epoch().count());
    return {};
  }
  void sample(SignalIndex signal, BenchTime when, double value) override {
    values[signal].push_back({when.time_since_epoch().count(), value});
  }
  std::vector<double> of(SignalIndex signal) const {
    std::vector<double> out;
    if (values.count(signal) > 0)
      for (const auto& v : values.at(signal)) out.push_back(v.value);
    return out;
  }
  std::vector<std::int64_t> rows;
  std::map<SignalIndex, std::vector<Value>> values;
};

struct Read {
  Kept kept;
  ReadCounts counts;
  std::string wrong;  // empty: all was read
};
inline Read read(const ImportDescription& description, const std::string& text) {
  Read out;
  const auto outcome = read_recording(description, bytes_of(text), out.counts, out.kept);
  if (!outcome) out.wrong = outcome.error().context;
  return out;
}

}  // namespace trackrod::test
