#include <fcntl.h>
#include <unistd.h>

#include <chrono>
#include <cmath>
#include <cstdio>
#include <ctime>
#include <filesystem>
#include <functional>
#include <random>
#include <stdexcept>

#include "harness/base/text_file.hpp"
#include "harness/capture/writer.hpp"
#include "tests/performance/figures.hpp"

namespace trackrod::performance {
namespace {

constexpr int signals = 24, ticks = 120'000;  // two minutes at 1 kHz
constexpr int flush_ticks = 50;               // as the recorder does

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

class Folder {
 public:
  Folder() {
    char name[] = "/tmp/trackrod-performance-XXXXXX";
    if (mkdtemp(name) == nullptr) throw std::runtime_error{"no folder for the measurement"};
    path_ = name;
  }
  Folder(const Folder&) = delete;
  Folder& operator=(const Folder&) = delete;
  ~Folder() { std::filesystem::remove_all(path_); }
  const std::string& path() const { return path_; }

 private:
  std::string path_;
};

struct Cost {
  double time{0}, cpu{0};  // s; of this thread
};

double cpu_time() {
  timespec ts{};
  clock_gettime(CLOCK_THREAD_CPUTIME_ID, &ts);
  return static_cast<double>(ts.tv_sec) + 1e-9 * static_cast<double>(ts.tv_nsec);
}

Cost cost_of(const std::function<void()>& work) {
  const auto start = std::chrono::steady_clock::now();
  const auto cpu = cpu_time();
  work();
  return {std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count(), cpu_time() - cpu};
}

// Records all of it, in the cadence of the recorder; returns the bytes written, 0 when it failed.
std::uint64_t write_journal(const std::string& dir, const std::vector<Sample>& all) {
  auto writer = JournalWriter::create(dir, header());
  if (!writer) return 0;
  bool good = true;
  for (std::uint32_t t = 0; t < ticks; ++t) {
    for (int s = 0; s < signals; ++s) good = good && writer->put(all[t * signals + static_cast<std::size_t>(s)]);
    good = good && writer->put(Tick{BenchTime{Duration{1'000'000'000LL + t * 1'000'000LL}}, t, 60'000 + t % 977,
                                    40'000 + t % 499, 900'000 + t % 1999});
    if (t % flush_ticks == flush_ticks - 1) good = good && writer->flush();
    if (t % 1000 == 999) good = good && writer->sync();
  }
  return good && writer->end(all.back().when, "finished") ? writer->bytes_written() : 0;
}

// The same bytes, in pieces of the same size, with the same syncs.
bool write_plainly(const std::string& path, const std::string& bytes) {
  const int fd = open(path.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);
  bool good = fd >= 0;
  const auto piece = bytes.size() / (ticks / flush_ticks);
  const char* next = bytes.data();
  for (int t = 0; t < ticks; ++t) {
    if (t % flush_ticks == flush_ticks - 1) {
      good = good && write(fd, next, piece) == static_cast<ssize_t>(piece);
      next += piece;
    }
    if (t % 1000 == 999) good = good && fdatasync(fd) == 0;
  }
  close(fd);
  return good;
}

}  // namespace

void capture_rate(const Wish& wish) {
  const Folder folder;
  const auto all = samples();
  const auto count = static_cast<double>(all.size());
  std::vector<double> rate, cpu, time_ratio, cpu_ratio, overhead;
  double size = 0;
  for (int round = 0; round < wish.rounds; ++round) {
    const auto dir = folder.path() + "/journal-" + std::to_string(round);
    std::uint64_t bytes = 0;
    const auto journal = cost_of([&] { bytes = write_journal(dir, all); });
    const auto encoded = read_text(dir + "/segment-0001.trj");
    bool good = bytes > 0 && encoded;
    const auto plain = cost_of([&] { good = good && write_plainly(folder.path() + "/plain", *encoded); });
    std::filesystem::remove_all(dir);
    if (!good) return void(std::printf("capture: the disk did not take the bytes\n"));
    size = static_cast<double>(bytes) / count;
    rate.push_back(count / journal.time / 1e6);
    cpu.push_back(journal.cpu / count * 1e9);
    overhead.push_back((journal.cpu - plain.cpu) / count * 1e9);
    time_ratio.push_back(journal.time / plain.time);
    cpu_ratio.push_back(journal.cpu / plain.cpu);
  }
  std::printf(
      "capture, median of %d rounds: %.1f million samples/s, %.2f bytes a sample (a stamp and a value as raw numbers: "
      "16), %.1f ns of processor a sample, of which %.1f beyond the plain write\n"
      "  beside a plain write of the same bytes with the same syncs: time x %.2f, processor x %.2f\n",
      wish.rounds, median(rate), size, median(cpu), median(overhead), median(time_ratio), median(cpu_ratio));
}

}  // namespace trackrod::performance
