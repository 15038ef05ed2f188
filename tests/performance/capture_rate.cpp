#include <fcntl.h>
#include <unistd.h>

#include <chrono>
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <random>

#include "harness/capture/writer.hpp"
#include "tests/performance/figures.hpp"

namespace trackrod::performance {
namespace {

constexpr int signals = 24, ticks = 120'000;  // two minutes at 1 kHz

StreamHeader header() {
  StreamHeader h;
  h.run_id = "performance";
  h.tick = std::chrono::milliseconds{1};
  for (int i = 0; i < signals; ++i) {
    SignalInfo s;
    s.name = "signal" + std::to_string(i);
    s.unit = "deg";
    s.resolution = 0.001;
    h.signals.push_back(s);
  }
  return h;
}

// A swept sine with noise, on a grid of 0.001, stamped with some jitter: what a bench records.
std::vector<Sample> samples() {
  std::mt19937 random{1};
  std::normal_distribution<> noise{0.0, 0.005};
  std::uniform_int_distribution<> jitter{0, 20'000};
  std::vector<Sample> all;
  all.reserve(static_cast<std::size_t>(signals) * ticks);
  for (int t = 0; t < ticks; ++t)
    for (int s = 0; s < signals; ++s) {
      const double count = std::round((30.0 * std::sin(1e-3 * t + s) + noise(random)) / 0.001);
      all.push_back({BenchTime{Duration{1'000'000'000LL + t * 1'000'000LL + jitter(random)}}, count * 0.001, 1000,
                     static_cast<SignalIndex>(s), StampedBy::kernel});
    }
  return all;
}

double seconds_of(const std::function<void()>& work) {
  const auto start = std::chrono::steady_clock::now();
  work();
  return std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
}

}  // namespace

void capture_rate() {
  char name[] = "/tmp/trackrod-performance-XXXXXX";
  if (mkdtemp(name) == nullptr) return;
  const std::string folder = name;
  const auto all = samples();
  std::uint64_t bytes = 0;
  const double journal = seconds_of([&] {
    auto writer = JournalWriter::create(folder + "/journal", header());
    if (!writer) return;
    std::size_t n = 0;
    for (const auto& s : all) {
      (void)writer->put(s);
      if (++n % (signals * 50) == 0) (void)writer->flush();  // 50 ms of the run
      if (n % (signals * 1000) == 0) (void)writer->sync();   // each second
    }
    (void)writer->end(all.back().when, "finished");
    bytes = writer->bytes_written();
  });
  // The same number of bytes, in the same pieces, with the same syncs.
  const double plain = seconds_of([&] {
    const int fd = open((folder + "/plain").c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0600);
    const std::vector<char> piece(bytes / (ticks / 50), 'x');
    for (int i = 0; i < ticks / 50; ++i) {
      if (write(fd, piece.data(), piece.size()) < 0) break;
      if (i % 20 == 19) fdatasync(fd);
    }
    close(fd);
  });
  const auto count = static_cast<double>(all.size());
  std::printf(
      "capture: %.2f million samples/s, %.2f bytes a sample (a stamp and a value as raw numbers: 16), "
      "%.1f x the time of a plain write of the same bytes with the same syncs\n",
      count / journal / 1e6, static_cast<double>(bytes) / count, journal / plain);
  std::filesystem::remove_all(folder);
}

}  // namespace trackrod::performance
