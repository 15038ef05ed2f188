#include "harness/score/stop_contact.hpp"

#include <algorithm>
#include <cmath>

#include "harness/score/flank.hpp"
#include "harness/score/line_fit.hpp"
#include "harness/score/transition.hpp"

namespace trackrod {
namespace {

constexpr std::size_t fewest_on_flank = 6;
constexpr double clear_of_noise = 8.0;  // standard deviations by which a contact stands out

// One run outward with what comes before the run back: angles and torques counted outward.
struct Outing {
  const Sweep* sweep{nullptr};
  std::vector<double> x, y;  // outward, by sample from `begin` on
  std::size_t begin{0};      // of the sweep
  std::size_t farthest{0};   // of x
  double free_level{0.0};    // y of free travel at the contact
  double free_slope{0.0}, free_noise{0.0};
  double greatest{0.0};  // y beyond free_level
  std::size_t first{0};  // first sample at which the stiff branch is reached
};

double mean_of(const std::vector<double>& v, std::size_t from, std::size_t to) {
  double sum = 0.0;
  for (std::size_t i = from; i < to; ++i) sum += v[i];
  return sum / static_cast<double>(to - from);
}

// `next`: end of the branch that leads back; of it, the first half of the way is taken.
Outing outing_of(const Branch& branch, std::size_t next) {
  Outing o;
  o.sweep = branch.sweep;
  o.begin = branch.begin;
  const double sign = branch.rising ? 1.0 : -1.0;
  const double half_way = 0.5 * sign * (branch.sweep->x[branch.begin] + branch.sweep->x[branch.end - 1]);
  for (std::size_t i = branch.begin; i < next; ++i) {
    if (i >= branch.end && sign * branch.sweep->x[i] < half_way) break;
    o.x.push_back(sign * branch.sweep->x[i]);
    o.y.push_back(sign * branch.sweep->y[i]);
  }
  o.farthest = branch.end - 1 - branch.begin;
  return o;
}

// A sensor that counts the torque of the hand and one that counts that of the stop differ in sign: the greater swing
// away from free travel is the stop's. Empty: a contact was found.
std::string find_contact(Outing& o, const ContactRule& rule) {
  const double start = o.x.front(), way = o.x[o.farthest] - start;
  std::vector<double> free;
  for (std::size_t i = 0; i <= o.farthest; ++i)
    if (o.x[i] > start + 0.2 * way && o.x[i] < start + 0.6 * way) free.push_back(o.y[i]);
  if (free.size() < 20) return "too few samples of free travel on the way to the stop";
  const double level = median_of(free);
  // The run may have begun at the other stop: what counts is the last part of the way.
  while (o.x[o.first] < start + 0.6 * way) ++o.first;
  const std::size_t late = o.first;
  double up = 0.0, down = 0.0;
  for (std::size_t i = late; i <= o.farthest; ++i) {  // on the way back friction turns round
    up = std::max(up, o.y[i] - level);
    down = std::max(down, level - o.y[i]);
  }
  if (down > up)
    for (auto& y : o.y) y = -y;
  const double zero = down > up ? -level : level, swing = std::max(up, down);
  // The greatest of many noisy samples stands too high; the flank is read by shares of a level that holds for a few.
  std::vector<double> sorted{o.y.begin() + static_cast<std::ptrdiff_t>(late),
                             o.y.begin() + static_cast<std::ptrdiff_t>(o.farthest) + 1};
  const std::size_t few = std::min<std::size_t>(sorted.size() - 1, 5);
  std::nth_element(sorted.begin(), sorted.begin() + static_cast<std::ptrdiff_t>(few), sorted.end(), std::greater<>{});
  o.greatest = sorted[few] - zero;
  const double scatter = noise_of(o.sweep->t, o.sweep->y);
  if (swing < std::max(clear_of_noise * scatter, 4.0 * rule.out_resolution))
    return "no stop was met: the torque rises no more than its noise and resolution allow";
  const double enough = 0.01 * rule.from * o.greatest;
  while (o.first < o.y.size() && o.y[o.first] - zero < enough) ++o.first;
  // Free travel by a straight line over the middle of the way to the contact.
  const double touch = o.x[std::min(o.first, o.x.size() - 1)];
  std::vector<double> x, y;
  for (std::size_t i = 0; i < o.first; ++i)
    if (o.x[i] > start + 0.2 * (touch - start) && o.x[i] < start + 0.8 * (touch - start))
      x.push_back(o.x[i] - touch), y.push_back(o.y[i]);
  const auto line =
      fit_flank(x, y, 0, x.size(), x.empty() ? 0.0 : *std::min_element(x.begin(), x.end()), 0.0, o.sweep->x_noise, 20);
  if (!line) return "too few samples of free travel on the way to the stop";
  if (o.greatest - (line->at_zero - zero) < 4.0 * std::abs(line->slope) * (touch - start))
    return "no stop was met: the torque rises no faster at the end of the way than on it";
  o.free_level = line->at_zero;
  o.free_slope = line->slope;
  o.free_noise = line->at_zero_noise;
  o.greatest -= o.free_level - zero;
  o.first = late;
  while (o.y[o.first] - o.free_level < enough) ++o.first;
  return "";
}

// Over as many samples before the contact as the stiff branch has, or twenty when that is more.
void read_rate(Contact& c, const Outing& o, std::size_t on_branch) {
  const std::size_t before = std::min(o.first, std::max<std::size_t>(20, on_branch));
  std::vector<double> t, x;
  for (std::size_t i = o.first - before; i < o.first; ++i)
    t.push_back(o.sweep->t[o.begin + i] - o.sweep->t[o.begin + o.first]), x.push_back(o.x[i]);
  if (before > 1) c.rate = std::max(0.0, fit_line(t, x, std::vector<double>(before, 1.0)).slope);
}

std::string read_stop(Contact& c, const Outing& o, const ContactRule& rule) {
  const double from = o.free_level + 0.01 * rule.from * o.greatest, to = o.free_level + 0.01 * rule.to * o.greatest;
  std::size_t end = o.first;
  while (end < o.y.size() && o.y[end] < to) ++end;
  const auto fit = [&](double low, std::size_t fewest) {
    return fit_flank(o.y, o.x, o.first, end, low, to, o.sweep->out_noise, fewest);
  };
  const auto flank = fit(from, fewest_on_flank), outer = fit(0.5 * (from + to), fewest_on_flank / 2);
  if (!flank || !outer)
    return "the torque rises within too few samples at the stop: approach it slower, or sample faster";
  read_rate(c, o, end - o.first);
  c.compliance = {flank->slope - rule.bench_compliance, flank->slope_noise};
  if (c.compliance.value <= 0.0)
    return "at the stop the bench bends more than all that was measured: 'bench_compliance' is too large";
  // Where the stiff line meets that of free travel; or where it reaches the torque asked for.
  double where = o.free_level, blur = flank->slope * o.free_noise, joined = 1.0;
  if (rule.torque) {
    where = o.free_level + *rule.torque;
    if (where > o.free_level + o.greatest)
      return "the torque at the stop reaches " + std::to_string(o.greatest) + ", less than the 'torque' asked for";
  } else {
    // x = at_zero + slope T and T = free_level + free_slope (x - touch) together; free_slope is small against 1 /
    // slope.
    joined = 1.0 / (1.0 - flank->slope * o.free_slope);
    where += o.free_slope * (flank->at(o.free_level) - o.x[o.first]) * joined;
  }
  const double side = c.positive ? 1.0 : -1.0;
  c.torque_at_angle = where;
  c.angle = {side * (flank->at(where) - rule.bench_compliance * where),
             std::hypot(flank->noise_at(where), blur) * joined};
  c.bend = outer->at(where) - flank->at(where);
  c.outer_noise = outer->noise_at(where), c.flank_noise = flank->noise_at(where);
  return "";
}

// What happens between the first sample at the stop and the last.
void read_stay(Contact& c, const Outing& o, const ContactRule& rule) {
  const double touch = o.free_level + 0.01 * rule.from * o.greatest;
  std::size_t last = o.first;
  for (std::size_t i = o.first; i < o.y.size(); ++i)
    if (o.y[i] >= touch) last = i;
  const double stop = std::abs(c.angle.value), noise = o.sweep->in_noise;
  const double at_stop = c.positive == (c.angle.value >= 0.0) ? stop : -stop;
  // A running mean of five keeps single noisy samples from counting as a jump back.
  double least = at_stop;
  for (std::size_t i = o.first; i + 5 <= last + 1; ++i) {
    const double x = mean_of(o.x, i, i + 5) - rule.bench_compliance * mean_of(o.y, i, i + 5);
    least = std::min(least, x);
  }
  const double back = at_stop - least;
  c.bounce = back > std::max(4.0 * noise / std::sqrt(5.0), rule.in_resolution) ? back : 0.0;

  const auto& t = o.sweep->t;
  const double stay = t[o.begin + last] - t[o.begin + o.first];
  if (stay < 2.0 * seconds(rule.quiet)) {
    c.no_rest = "the stop is left again at once: hold against it for longer than twice 'quiet'";
    return;
  }
  Series x, y;
  for (std::size_t i = o.first; i <= last; ++i) {
    x.t.push_back(t[o.begin + i]), y.t.push_back(t[o.begin + i]);
    x.y.push_back(o.x[i] - rule.bench_compliance * o.y[i]), y.y.push_back(o.y[i]);
  }
  const double middle = t[o.begin + o.first] + 0.5 * stay, half = 0.5 * seconds(rule.quiet);
  const auto angle = level_at_rest(x, middle - half, middle + half, rule.in_resolution);
  const auto torque = level_at_rest(y, middle - half, middle + half, rule.out_resolution);
  if (angle.samples < 5) {
    c.no_rest = "too few samples at rest at the stop";
    return;
  }
  if (still_moving(angle, rule.in_resolution, 0.0) || still_moving(torque, rule.out_resolution, 0.02 * o.greatest)) {
    c.no_rest = "the wheel is not at rest at the stop: hold against it for longer";
    return;
  }
  c.holding = Noted{torque.value - o.free_level, std::hypot(torque.standard_uncertainty, o.free_noise)};
  c.over_travel = Noted{angle.value - at_stop, std::hypot(angle.standard_uncertainty, c.angle.noise)};
}

}  // namespace

Contacts contacts_of(const Sweep& sweep, const ContactRule& rule) {
  Contacts contacts;
  const auto branches = branches_of(sweep);
  for (std::size_t k = 0; k < branches.size(); ++k) {
    const auto& branch = branches[k];
    const std::size_t next = k + 1 < branches.size() ? branches[k + 1].end : sweep.x.size();
    auto outing = outing_of(branch, next);
    Contact contact;
    contact.positive = branch.rising;
    auto why = find_contact(outing, rule);
    if (why.empty()) why = read_stop(contact, outing, rule);
    if (!why.empty()) {
      if (contacts.trouble.empty()) contacts.trouble = why;
      continue;
    }
    read_stay(contact, outing, rule);
    contacts.found.push_back(std::move(contact));
  }
  return contacts;
}

}  // namespace trackrod
