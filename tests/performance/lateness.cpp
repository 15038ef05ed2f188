#include <cstdio>

#include "tests/performance/figures.hpp"
#include "tests/performance/run_block.hpp"

namespace trackrod::performance {
namespace {

constexpr std::size_t least_blocks = 6;

void print(const char* who, const Block& b) {
  std::printf("  %-10s p50 %3.0f p99 %3.0f p99.9 %4.0f max %5.0f us", who, percentile(b.late, 50),
              percentile(b.late, 99), percentile(b.late, 99.9), percentile(b.late, 100));
  if (!b.work.empty())
    std::printf(", missed %llu, work p50 %.0f p99 %.0f us", static_cast<unsigned long long>(b.missed),
                percentile(b.work, 50), percentile(b.work, 99));
  std::printf(", steal %.1f %%%s%s\n", 100 * b.steal, b.flaw.empty() ? "" : ", does not count: ", b.flaw.c_str());
  std::fflush(stdout);
}

// Of blocks measured one after the other.
struct Ratios {
  std::vector<double> p50, p99;

  void add(const Block& a, const Block& b) {
    if (!a.flaw.empty() || !b.flaw.empty() || percentile(b.late, 50) <= 0) return;
    p50.push_back(percentile(a.late, 50) / percentile(b.late, 50));
    p99.push_back(percentile(a.late, 99) / percentile(b.late, 99));
  }
  void print(const char* who) const {
    if (p50.size() < least_blocks)
      std::printf("  %s beside cyclictest: not measurable, %zu good blocks where %zu are needed\n", who, p50.size(),
                  least_blocks);
    else
      std::printf("  %s beside cyclictest, median ratio over %zu blocks: p50 %.2f, p99 %.2f\n", who, p50.size(),
                  median(p50), median(p99));
  }
};

}  // namespace

void lateness(const Wish& wish) {
  for (const int rate : {1000, 4000}) {
    std::printf("tick lateness at %d Hz, blocks of %d s in turn\n", rate, wish.block_seconds);
    Ratios run_ratios, bare_ratios;
    for (int i = 0; i < wish.blocks; ++i) {
      const auto run = run_block(rate, wish.block_seconds);
      print("a run", run);
      const auto peer = reference_block(rate, wish.block_seconds);
      print("cyclictest", peer);
      const auto bare = bare_block(rate, wish.block_seconds);
      print("bare loop", bare);
      run_ratios.add(run, peer);
      bare_ratios.add(bare, peer);
    }
    run_ratios.print("a run on the demo bench");
    bare_ratios.print("the bare loop");
  }
}

}  // namespace trackrod::performance
