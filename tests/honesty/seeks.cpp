// Searches for what is just survived, of units whose limit scatters from try to try.

#include "tests/honesty/all.hpp"
#include "tests/score/fed_unit.hpp"
#include "tests/score/staircase.hpp"

namespace trackrod::test {
namespace {

constexpr double between_dips = 0.3;  // s

// Of levels `step` apart from `easiest` on; a limit of each try by its number, from what a level's number stands for.
struct Search {
  std::vector<std::pair<int, bool>> stairs;
  std::vector<double> limits;
};
Search search(double easiest, double step, double limit, double scatter, int tries, Draw draw) {
  Search s;
  s.stairs = staircase(128, tries, [&] {
    s.limits.push_back(limit + step * draw.normal(scatter));
    return (s.limits.back() - easiest) / step;
  });
  return s;
}

// The value of `limits` while that dip lasts and until the next one begins.
std::function<double(double)> by_dip(const std::vector<Dip>& all, std::vector<double> limits) {
  std::vector<double> ends{1.0};
  for (const auto& dip : all) ends.push_back(ends.back() + dip.length + between_dips);
  return [ends, limits](double t) {
    const auto past = std::upper_bound(ends.begin() + 1, ends.end() - 1, t + 0.5 * between_dips);
    return limits[static_cast<std::size_t>(past - ends.begin() - 1)];
  };
}

Drawn draw_search(Draw draw, double least_scatter, double most_scatter) {
  const int tries = static_cast<int>(draw.even(24.0, 61.0));
  const double scatter = draw.even(least_scatter, most_scatter);
  Drawn drawn;
  drawn.strata = {tries < 36 ? "few tries" : "many tries",
                  scatter < 0.5 * (least_scatter + most_scatter) ? "little scatter" : "much scatter"};
  {
    Fed unit;
    unit.start_time = 0.1, unit.hold_out = 0.0;
    const double step = draw.even(0.001, 0.002), limit = 0.010 + step * draw.even(20.0, 107.0);
    const auto s = search(0.010, step, limit, scatter, tries, draw);
    std::vector<Dip> all;
    for (const auto& [level, survived] : s.stairs) all.push_back({0.010 + step * level});
    unit.longer = by_dip(all, s.limits);
    const auto c = fed(unit, dips(all, between_dips), draw.random(), 0.0005);
    drawn.held.push_back({"ridden_through",
                          finding_of(score("supply", c, R"({"below": 6.5, "working": [2, 3]})"), "ridden_through"),
                          1e3 * limit});
  }
  {
    Fed unit;
    unit.start_time = 0.1, unit.hold_out = 0.0, unit.stops_below = 0.0, unit.starts_from = 12.0;
    const double step = draw.even(0.02, 0.06), limit = 10.0 - step * draw.even(20.0, 107.0);
    const auto s = search(10.0, -step, limit, scatter, tries, draw);
    std::vector<Dip> all;
    for (const auto& [level, survived] : s.stairs) all.push_back({0.06, 10.0 - step * level});
    unit.sooner = by_dip(all, s.limits);
    const auto c = fed(unit, dips(all, between_dips), draw.random());
    drawn.held.push_back({"lowest_survived",
                          finding_of(score("supply", c, R"({"below": 11, "working": [2, 3]})"), "lowest_survived"),
                          limit});
  }
  return drawn;
}

}  // namespace

Population searches() {
  return {"supply", "a search for a limit that scatters by up to a level", Claim::bracket,
          [](auto& random) { return draw_search({random}, 0.1, 1.0); }};
}
Population searches_in_fine_levels() {
  return {"supply", "the same, by one to three levels", Claim::stranger,
          [](auto& random) { return draw_search({random}, 1.0, 3.0); }};
}

}  // namespace trackrod::test
