#pragma once
// What the tests of the capture share: a folder that goes away, a made-up recording, and comparison bit by bit.

#include <unistd.h>

#include <bit>
#include <filesystem>
#include <fstream>
#include <random>
#include <string>
#include <vector>

#include "harness/capture/journal_capture.hpp"
#include "harness/capture/writer.hpp"

namespace trackrod::test {

using namespace std::chrono_literals;

class Folder {
 public:
  Folder() {
    auto pattern = (std::filesystem::temp_directory_path() / "capture-test-XXXXXX").string();
    if (mkdtemp(pattern.data()) == nullptr) throw std::runtime_error{"no temporary folder"};
    path_ = pattern;
  }
  Folder(const Folder&) = delete;
  Folder& operator=(const Folder&) = delete;
  ~Folder() { std::filesystem::remove_all(path_); }
  std::string path() const { return path_; }
  std::string operator/(const std::string& name) const { return path_ + "/" + name; }

 private:
  std::string path_;
};

inline std::string read_file(const std::string& path) {
  std::ifstream in{path, std::ios::binary};
  return {std::istreambuf_iterator<char>{in}, {}};
}
inline void write_file(const std::string& path, const std::string& bytes) {
  std::filesystem::remove(path);  // cutting an old file to nothing makes some file systems wait for the disk
  std::ofstream{path, std::ios::binary} << bytes;
}

inline BenchTime at(Duration since_zero) { return BenchTime{since_zero}; }
inline bool same_bits(double a, double b) { return std::bit_cast<std::uint64_t>(a) == std::bit_cast<std::uint64_t>(b); }
inline bool same(const Sample& a, const Sample& b) {
  return a.when == b.when && same_bits(a.value, b.value) && a.uncertainty_ns == b.uncertainty_ns &&
         a.signal == b.signal && a.by == b.by;
}
inline bool same(const Tick& a, const Tick& b) {
  return a.due == b.due && a.number == b.number && a.late_ns == b.late_ns && a.work_ns == b.work_ns &&
         a.input_age_ns == b.input_age_ns;
}

// Signals of every sort: quantised, quantised with an odd calibration, continuous, one that is not declared quantised
// but is steady.
inline StreamHeader small_header() {
  StreamHeader h;
  h.run_id = "test-run";
  h.config_hash = "0123abcd";
  h.tick = 1ms;
  h.clock = {at(5s), 1795608000000000000};
  const auto add = [&](const std::string& name, const std::string& unit, double resolution, double offset) {
    SignalInfo s;
    s.name = name;
    s.unit = unit;
    s.device = "bench_io";
    s.clock = "bench_io";
    s.resolution = resolution;
    s.resolution_offset = offset;
    h.signals.push_back(s);
  };
  add("hand.angle", "deg", 0.01, 0.0);
  add("hand.torque", "Nm", 0.0123 * 1.000217, -3.7 * 1.000217 + 0.0113);
  add("rack.position", "mm", 0.0, 0.0);
  add("hand.setpoint", "deg", 0.0, 0.0);
  h.signals[3].direction = Direction::drive;
  h.steps = {{3, "sweep"}, {4, "hold"}};
  h.devices = {"bench_io"};
  h.interlocks = {"hand torque"};
  return h;
}

// One millisecond of the recording: a sample of each signal and a tick.
inline std::vector<Record> millisecond(std::uint32_t n, std::mt19937_64& random) {
  std::normal_distribution<double> noise;
  const auto due = at(5s + n * 1ms);
  const auto stamp = due - 400us + Duration{static_cast<int>(8000 * noise(random))};
  const auto count = [&](double v) { return std::round(v + 2.0 * noise(random)); };
  const double angle = 30.0 * std::sin(0.002 * n);
  std::vector<Record> records;
  records.emplace_back(Sample{stamp, 0.01 * count(100 * angle), 12000, 0, StampedBy::kernel});
  // As a device works it out: the field's value first, then gain and offset. The last bit differs from resolution x
  // count + offset.
  records.emplace_back(
      Sample{stamp, 1.000217 * (0.0123 * count(300 + 3 * angle) - 3.7) + 0.0113, 12000, 1, StampedBy::kernel});
  records.emplace_back(Sample{due + 30us, angle * 0.4 + 0.01 * noise(random), 500, 2, StampedBy::device});
  records.emplace_back(Sample{due + 90us, n < 500 ? 0.0 : angle, 0, 3, StampedBy::harness});
  records.emplace_back(
      Tick{due, n, static_cast<std::uint32_t>(random() % 200000), 40000, n == 0 ? 0xFFFFFFFF : 400000U});
  return records;
}

struct Kept {
  std::vector<Sample> samples;
  std::vector<Tick> ticks;
};
inline Kept read_all(const JournalCapture& capture) {
  Kept kept;
  const auto visited =
      capture.visit({each_sample([&](const Sample& s) { kept.samples.push_back(s); }),
                     [&](auto ticks) { kept.ticks.insert(kept.ticks.end(), ticks.begin(), ticks.end()); }});
  if (!visited) throw std::runtime_error{visited.error().context};
  return kept;
}

}  // namespace trackrod::test
