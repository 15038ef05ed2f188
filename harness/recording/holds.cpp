#include <algorithm>
#include <cmath>

#include "harness/recording/find_spans.hpp"

namespace trackrod {
namespace {

double mean(const std::vector<Block>& blocks, std::size_t from, std::size_t to) {
  double sum = 0.0;
  for (auto i = from; i < to; ++i) sum += blocks[i].mean;
  return sum / static_cast<double>(to - from);
}

// A slow motion fills the tolerance from one side to the other; at rest the signal wanders about in it.
bool creeps(const std::vector<Block>& blocks, std::size_t from, std::size_t to, double tolerance) {
  const auto third = std::max<std::size_t>(1, (to - from) / 3);
  return std::abs(mean(blocks, to - third, to) - mean(blocks, from, from + third)) > 0.5 * tolerance;
}

// The end of a motion in its tolerance, or a lone peak of noise, must not cut a rest in two.
void add(std::vector<Hold>& holds, const Hold& next, Duration block, double tolerance) {
  if (holds.empty() || next.from - holds.back().to > block || std::abs(next.level - holds.back().level) > tolerance)
    return holds.push_back(next);
  auto& last = holds.back();
  const double before = seconds(last.to - last.from), after = seconds(next.to - next.from);
  last.level = (before * last.level + after * next.level) / (before + after);
  last.to = next.to;
}

}  // namespace

std::vector<Hold> holds_in(const std::vector<Block>& blocks, Duration block, Duration least, double tolerance) {
  std::vector<Hold> holds;
  for (std::size_t i = 0; i < blocks.size();) {
    double low = blocks[i].mean, high = low;
    std::size_t j = i + 1;
    for (; j < blocks.size() && blocks[j].from - blocks[j - 1].from <= least; ++j) {
      low = std::min(low, blocks[j].mean);
      high = std::max(high, blocks[j].mean);
      if (high - low > tolerance) break;
    }
    const auto to = blocks[j - 1].from + block;
    if (to - blocks[i].from < least) {
      ++i;
    } else if (creeps(blocks, i, j, tolerance)) {
      i += std::max<std::size_t>(1, (j - i) / 4);
    } else {
      add(holds, {blocks[i].from, to, mean(blocks, i, j)}, block, tolerance);
      i = j;
    }
  }
  return holds;
}

}  // namespace trackrod
