#include "harness/base/problems.hpp"

#include <algorithm>
#include <numeric>
#include <tuple>
#include <utility>

namespace trackrod {

std::string Problem::sentence() const {
  std::string s = at.file + ":" + std::to_string(at.line) + ":" + std::to_string(at.column) + ": ";
  if (!at.path.empty()) s += at.path + ": ";
  s += found;
  if (!allowed.empty()) s += "; allowed: " + allowed;
  if (!advice.empty()) s += "; " + advice;
  return s;
}

void Problems::add(Where at, std::string found, std::string allowed, std::string advice) {
  // A text that stands for many combinations is wrong in each of them.
  const auto same = [&](const Problem& p) {
    return p.at.line == at.line && p.at.column == at.column && p.at.file == at.file && p.found == found &&
           p.allowed == allowed;
  };
  if (at.line > 0 && std::ranges::any_of(all_, same)) return;
  all_.push_back({std::move(at), std::move(found), std::move(allowed), std::move(advice)});
}

std::vector<Problem> Problems::sorted() const {
  auto copy = all_;
  std::stable_sort(copy.begin(), copy.end(), [](const Problem& a, const Problem& b) {
    return std::tie(a.at.file, a.at.line, a.at.column) < std::tie(b.at.file, b.at.line, b.at.column);
  });
  return copy;
}

namespace {

// Edits (insert, delete, replace, swap of neighbours) that turn a into b.
std::size_t edit_distance(std::string_view a, std::string_view b) {
  std::vector<std::size_t> before(b.size() + 1), last(b.size() + 1), row(b.size() + 1);
  std::iota(last.begin(), last.end(), std::size_t{0});
  for (std::size_t i = 1; i <= a.size(); ++i) {
    row[0] = i;
    for (std::size_t j = 1; j <= b.size(); ++j) {
      row[j] = std::min({last[j] + 1, row[j - 1] + 1, last[j - 1] + (a[i - 1] == b[j - 1] ? 0U : 1U)});
      if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1]) row[j] = std::min(row[j], before[j - 2] + 1);
    }
    before.swap(last);
    last.swap(row);
  }
  return last[b.size()];
}

}  // namespace

std::string nearest(std::string_view name, const std::vector<std::string>& known) {
  std::string best;
  std::size_t least = std::max<std::size_t>(1, name.size() / 3) + 1;
  for (const auto& candidate : known) {
    const auto d = edit_distance(name, candidate);
    if (d < least) {
      least = d;
      best = candidate;
    }
  }
  return best;
}

std::string did_you_mean(std::string_view name, const std::vector<std::string>& known) {
  const auto best = nearest(name, known);
  return best.empty() ? "" : "did you mean '" + best + "'?";
}

std::string one_of(const std::vector<std::string>& names) {
  std::string s;
  for (std::size_t i = 0; i < names.size(); ++i) {
    if (i > 0) s += i + 1 == names.size() ? " or " : ", ";
    s += "'" + names[i] + "'";
  }
  return s;
}

}  // namespace trackrod
