#include "harness/plan/combinations.hpp"

#include <algorithm>
#include <set>
#include <tuple>

namespace trackrod {
namespace {

constexpr std::size_t open = static_cast<std::size_t>(-1);  // a value that is not chosen yet

// Whether what is chosen so far is forbidden whatever follows.
bool excluded(const Combination& c, const std::vector<Exclusion>& without) {
  return std::ranges::any_of(without, [&](const Exclusion& e) {
    for (std::size_t a = 0; a < c.size(); ++a)
      if (e[a] && c[a] != *e[a]) return false;
    return true;
  });
}

using Pair = std::tuple<std::size_t, std::size_t, std::size_t, std::size_t>;  // axis, value, later axis, value

std::size_t closed_by(const Combination& c, std::size_t axis, const std::set<Pair>& left) {
  std::size_t count = 0;
  for (std::size_t other = 0; other < c.size(); ++other) {
    if (other == axis || c[other] == open) continue;
    const auto [first, second] = std::minmax(axis, other);
    count += left.count({first, c[first], second, c[second]});
  }
  return count;
}

// Chooses the open values from `axis` on, those first that close most pairs; false: none is allowed.
bool fill(Combination& c, std::size_t axis, const std::vector<std::size_t>& sizes,
          const std::vector<Exclusion>& without, const std::set<Pair>& left) {
  if (excluded(c, without)) return false;
  while (axis < c.size() && c[axis] != open) ++axis;
  if (axis == c.size()) return true;
  std::vector<std::pair<std::size_t, std::size_t>> choices;  // pairs closed, value
  for (std::size_t value = 0; value < sizes[axis]; ++value) {
    c[axis] = value;
    choices.emplace_back(closed_by(c, axis, left), value);
  }
  std::ranges::stable_sort(choices, std::greater{}, [](const auto& choice) { return choice.first; });
  for (const auto& choice : choices) {
    c[axis] = choice.second;
    if (fill(c, axis + 1, sizes, without, left)) return true;
  }
  c[axis] = open;
  return false;
}

void close(const Combination& c, std::set<Pair>& left) {
  for (std::size_t a = 0; a < c.size(); ++a)
    for (std::size_t b = a + 1; b < c.size(); ++b) left.erase({a, c[a], b, c[b]});
}

}  // namespace

std::vector<Combination> every_combination(const std::vector<std::size_t>& sizes,
                                           const std::vector<Exclusion>& without) {
  std::vector<Combination> all;
  Combination c(sizes.size(), 0);
  for (bool more = !sizes.empty(); more;) {
    if (!excluded(c, without)) all.push_back(c);
    more = false;
    for (std::size_t a = sizes.size(); a-- > 0 && !more;) {
      more = ++c[a] < sizes[a];
      if (!more) c[a] = 0;
    }
  }
  return all;
}

std::vector<Combination> every_pair(const std::vector<std::size_t>& sizes, const std::vector<Exclusion>& without) {
  if (sizes.size() < 2) return every_combination(sizes, without);
  std::set<Pair> left;
  for (std::size_t a = 0; a < sizes.size(); ++a)
    for (std::size_t b = a + 1; b < sizes.size(); ++b)
      for (std::size_t va = 0; va < sizes[a]; ++va)
        for (std::size_t vb = 0; vb < sizes[b]; ++vb) left.insert({a, va, b, vb});
  std::vector<Combination> all;
  while (!left.empty()) {
    const auto pair = *left.begin();
    Combination c(sizes.size(), open);
    c[std::get<0>(pair)] = std::get<1>(pair);
    c[std::get<2>(pair)] = std::get<3>(pair);
    left.erase(pair);
    if (!fill(c, 0, sizes, without, left)) continue;
    close(c, left);
    all.push_back(std::move(c));
  }
  return all;
}

}  // namespace trackrod
