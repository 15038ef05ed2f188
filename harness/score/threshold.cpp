#include "harness/score/threshold.hpp"

#include <algorithm>
#include <cmath>

#include "harness/score/budget.hpp"
#include "harness/score/findings.hpp"

namespace trackrod {
namespace {

constexpr std::size_t thresholds = 91, widths = 21;  // of the grid
constexpr double narrowest = 0.02, widest = 2.0;     // widths, of the distance over which both outcomes occur
constexpr std::size_t fewest_near = 16;              // tries; with fewer, intervals miss too often
constexpr double coverage = 0.95;
constexpr double no_better = 1.92;    // log likelihood: half of chi squared's 95 % with one degree of freedom
constexpr double most_blurred = 4.0;  // distance over which both outcomes occur, of what two values must differ by
constexpr double impossible = 8.0;    // log likelihood that one try may cost; one in a thousand staircases asks for 7

// From here on greater is harder.
struct Overlap {
  double survived{0.0}, lost{0.0};  // the hardest and the easiest one
  double low{0.0}, high{0.0};       // the hardest clearly below both, the easiest clearly above; of both where none is
  double distance() const { return high - low; }
};

Overlap overlap_of(const std::vector<Try>& tries, double apart) {
  Overlap o{-INFINITY, INFINITY, -INFINITY, INFINITY};
  for (const auto& t : tries) {
    if (t.survived)
      o.survived = std::max(o.survived, t.value);
    else
      o.lost = std::min(o.lost, t.value);
  }
  const double first = std::min(o.survived, o.lost), last = std::max(o.survived, o.lost);
  for (const auto& t : tries) {
    if (t.value < first - apart) o.low = std::max(o.low, t.value);
    if (t.value > last + apart) o.high = std::min(o.high, t.value);
  }
  if (std::isinf(o.low)) o.low = first;
  if (std::isinf(o.high)) o.high = last;
  return o;
}

// Log likelihood over thresholds, for each the greatest over all widths.
std::vector<double> profile_of(const std::vector<Try>& tries, const std::vector<double>& grid, double distance) {
  std::vector<double> profile;
  for (const double threshold : grid) {
    double best = -INFINITY;
    for (std::size_t k = 0; k < widths; ++k) {
      const double width =
          distance * narrowest * std::pow(widest / narrowest, static_cast<double>(k) / static_cast<double>(widths - 1));
      double sum = 0.0;
      for (const auto& t : tries) {
        const double z = (t.survived ? threshold - t.value : t.value - threshold) / width;
        sum -= z > 0.0 ? std::log1p(std::exp(-z)) : std::log1p(std::exp(z)) - z;
      }
      best = std::max(best, sum);
    }
    profile.push_back(best);
  }
  return profile;
}
double best_of(const std::vector<double>& profile) { return *std::max_element(profile.begin(), profile.end()); }

// If the value had nothing to do with it.
double even_likelihood(const std::vector<Try>& tries) {
  const double n = static_cast<double>(tries.size());
  const double survived =
      static_cast<double>(std::count_if(tries.begin(), tries.end(), [](auto& t) { return t.survived; }));
  return survived * std::log(survived / n) + (n - survived) * std::log((n - survived) / n);
}

class Search {
 public:
  Search(const Tries& tries, std::vector<Try> harder_is_greater)
      : tries_{tries}, of_{std::move(harder_is_greater)}, overlap_{overlap_of(of_, tries.apart)} {}

  Threshold found() const;

 private:
  double outward(double value) const { return tries_.harder == Harder::greater ? value : -value; }
  std::string told(double value) const { return with_unit(outward(value), tries_.unit); }
  std::string told_overlap() const {
    return "from " + told(std::min(overlap_.survived, overlap_.lost)) + " to " +
           told(std::max(overlap_.survived, overlap_.lost));
  }
  Threshold between(double low, double high) const;
  Threshold of_profile() const;
  std::string contradiction(const std::vector<double>& grid, double best) const;

  const Tries& tries_;
  std::vector<Try> of_;
  Overlap overlap_;
};

Threshold Search::between(double low, double high) const {
  Threshold out;
  out.value = outward(0.5 * (low + high));
  out.line = rectangular("between two tries", 0.5 * (high - low));
  return out;
}

// Why something other than the value decides; empty: it does.
std::string Search::contradiction(const std::vector<double>& grid, double best) const {
  const auto decides = tries_.what + " alone does not decide; repeat near there, from one level";
  if (best - even_likelihood(of_) < no_better)
    return "one of " + told(overlap_.survived) + " was survived and one of " + told(overlap_.lost) +
           " was not, and hard ones hardly less often than easy ones: " + decides;
  for (const bool survived : {true, false}) {
    const double value = survived ? overlap_.survived : overlap_.lost;
    auto rest = of_;
    rest.erase(std::find_if(rest.begin(), rest.end(),
                            [&](const Try& t) { return t.survived == survived && t.value == value; }));
    if (best_of(profile_of(rest, grid, overlap_.distance())) - best > impossible)
      return "one of " + told(value) + (survived ? " was survived" : " was lost") +
             ", which all others speak against: " + decides;
  }
  return "";
}

Threshold Search::of_profile() const {
  Threshold out;
  const double distance = overlap_.distance();
  if (distance <= 0.0) {
    out.near = of_.size();
    out.trouble = "every " + tries_.what + " is " + told(overlap_.low) + ": try harder and easier ones too";
    return out;
  }
  std::vector<double> grid;
  for (std::size_t i = 0; i < thresholds; ++i)
    grid.push_back(overlap_.low - distance + 3.0 * distance * static_cast<double>(i) / (thresholds - 1));
  const auto profile = profile_of(of_, grid, distance);
  const double best = best_of(profile);
  out.near = static_cast<std::size_t>(std::count_if(
      of_.begin(), of_.end(), [&](const Try& t) { return t.value >= grid.front() && t.value <= grid.back(); }));
  out.trouble = contradiction(grid, best);
  if (!out.trouble.empty()) return out;
  const auto both =
      "both outcomes occur " + told_overlap() + ", with " + some_of(out.near, of_.size()) + " tries near there";
  if (out.near < fewest_near) {
    out.trouble = both + ": at least " + std::to_string(fewest_near) +
                  " are needed; more tries, or coarser levels, so that more of them fall there";
    return out;
  }
  const double freedom = 1.0 + static_cast<double>(out.near / 4);
  const double t = coverage_factor(freedom, coverage), least = best - 0.5 * t * t;
  const auto inside = [&](double likelihood) { return likelihood >= least; };
  const auto first = static_cast<std::size_t>(std::find_if(profile.begin(), profile.end(), inside) - profile.begin());
  const auto last =
      static_cast<std::size_t>(profile.rend() - std::find_if(profile.rbegin(), profile.rend(), inside)) - 1;
  if (first == 0 || last == thresholds - 1) {
    out.trouble = both + ": too few for so wide an overlap; more tries, or coarser levels, no finer than the scatter";
    return out;
  }
  const auto crossing = [&](std::size_t in, std::size_t beyond) {
    return grid[in] + (grid[beyond] - grid[in]) * (profile[in] - least) / (profile[in] - profile[beyond]);
  };
  const double low = crossing(first, first - 1), high = crossing(last, last + 1);
  out.value = outward(0.5 * (low + high));
  out.line = type_a("scatter from try to try", 0.5 * (high - low) / t, freedom);
  return out;
}

Threshold Search::found() const {
  const double gap = overlap_.lost - overlap_.survived;
  auto out = gap > tries_.apart ? between(overlap_.survived, overlap_.lost) : of_profile();
  // With few tries, an order that the measurement can hardly have told does not speak against one sharp limit.
  const bool blurred =
      std::abs(gap) <= tries_.apart && overlap_.distance() > 0.0 && overlap_.distance() <= most_blurred * tries_.apart;
  if (!out.value && out.near < fewest_near && blurred) out = between(overlap_.low, overlap_.high);
  out.survived = outward(overlap_.survived);
  out.lost = outward(overlap_.lost);
  return out;
}

}  // namespace

Threshold threshold_of(const Tries& tries) {
  auto of = tries.of;
  if (tries.harder == Harder::smaller)
    for (auto& t : of) t.value = -t.value;
  return Search{tries, std::move(of)}.found();
}

}  // namespace trackrod
