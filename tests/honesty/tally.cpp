#include "tests/honesty/tally.hpp"

#include <algorithm>
#include <atomic>
#include <cmath>
#include <exception>
#include <mutex>
#include <sstream>
#include <thread>

#include "harness/score/decision.hpp"

namespace trackrod::test {
namespace {

// What a row collects before its medians are known.
struct Collected {
  Row row;
  std::vector<double> errors, half_widths, uncertainties;
};

double quantile(std::vector<double> values, double share) {
  if (values.empty()) return 0.0;
  std::sort(values.begin(), values.end());
  const double place = share * static_cast<double>(values.size() - 1);
  const auto i = static_cast<std::size_t>(place);
  const double part = place - static_cast<double>(i);
  return i + 1 < values.size() ? values[i] + part * (values[i + 1] - values[i]) : values[i];
}

// Whether the finding passes by this limit, as a plan's criterion would have it judged.
bool passes(Finding finding, const Limit& limit) {
  judge(finding, limit, Rule::guarded, "");
  return finding.verdict == Verdict::pass;
}

void add(Collected& c, const Held& held, const std::vector<std::string>& strata, std::mt19937_64& random) {
  constexpr double near = 0.2;  // of the standard uncertainty: so far the truth is beyond the limit, at most
  auto& row = c.row;
  ++row.captures;
  const auto& f = held.finding;
  if (!f.value) {
    ++row.refused;
    ++row.refusals[f.reason.substr(0, f.reason.find_first_of("0123456789"))];
    return;
  }
  const auto [low, high] = *f.interval;
  const bool holds = held.truth >= low && held.truth <= high;
  row.below += held.truth < low;
  row.above += held.truth > high;
  row.held += holds;
  const double beyond = Draw{random}.even(0.0, near) * *f.standard_uncertainty;
  row.passed_high += passes(f, {Limit::Kind::at_most, 0.0, held.truth - beyond});
  row.passed_low += passes(f, {Limit::Kind::at_least, held.truth + beyond, 0.0});
  c.errors.push_back(*f.value - held.truth);
  c.half_widths.push_back(0.5 * (high - low));
  c.uncertainties.push_back(*f.standard_uncertainty);
  for (const auto& name : strata) {
    ++row.strata[name].of;
    row.strata[name].held += holds;
  }
}

Row finished(Collected c) {
  const double middle = quantile(c.errors, 0.5), u = quantile(c.uncertainties, 0.5);
  c.row.bias = u > 0.0 ? middle / u : 0.0;
  for (double& e : c.errors) e = std::abs(e - middle);
  const double spread = quantile(c.errors, 0.95);
  c.row.width = spread > 0.0 ? quantile(c.half_widths, 0.5) / spread : 0.0;
  return std::move(c.row);
}

// Probability of at most k of n.
double at_most(int k, int n, double share) {
  if (k >= n || share <= 0.0) return 1.0;
  if (k < 0 || share >= 1.0) return 0.0;
  double sum = 0.0;
  for (int i = 0; i <= k; ++i)
    sum += std::exp(std::lgamma(n + 1.0) - std::lgamma(i + 1.0) - std::lgamma(n - i + 1.0) + i * std::log(share) +
                    (n - i) * std::log1p(-share));
  return sum;
}
constexpr double rare = 1e-3;

bool too_few(int k, int n, double share, Limits limits) {
  return limits == Limits::bare ? k < share * n : at_most(k, n, share) < rare;
}
bool too_many(int k, int n, double share, Limits limits) {
  return limits == Limits::bare ? k > share * n : 1.0 - at_most(k - 1, n, share) < rare;
}

std::string percent(int k, int n) {
  std::ostringstream out;
  out.precision(1);
  out << std::fixed << 100.0 * k / std::max(n, 1) << " %";
  return out.str();
}

}  // namespace

int Confusion::captures() const {
  int sum = 0;
  for (const auto& [pair, n] : count) sum += n;
  return sum;
}
int Confusion::wrong() const {
  int sum = 0;
  for (const auto& [pair, n] : count) sum += pair.first == pair.second ? 0 : n;
  return sum;
}
double Confusion::wrong_at_most() const {
  double low = 0.0, high = 1.0;
  for (int i = 0; i < 60; ++i) {
    const double middle = 0.5 * (low + high);
    (at_most(wrong(), captures(), middle) > 0.05 ? low : high) = middle;
  }
  return high;
}

Tally tally(const Population& population, int captures, std::uint64_t seed) {
  std::vector<Drawn> all(static_cast<std::size_t>(captures));
  std::atomic<int> next{0};
  std::exception_ptr failure;
  std::mutex guard;
  const auto work = [&] {
    for (int i = next++; i < captures; i = next++) try {
        std::seed_seq own{seed, static_cast<std::uint64_t>(i)};
        std::mt19937_64 random{own};
        all[static_cast<std::size_t>(i)] = population.draw(random);
      } catch (...) {
        const std::lock_guard lock{guard};
        failure = std::current_exception();
        next = captures;
      }
  };
  std::vector<std::thread> threads;
  for (unsigned i = 0; i < std::max(1U, std::thread::hardware_concurrency()); ++i) threads.emplace_back(work);
  for (auto& t : threads) t.join();
  if (failure) std::rethrow_exception(failure);

  std::vector<Collected> rows;
  std::vector<Confusion> confusions;
  std::mt19937_64 limits{seed};
  const auto named = [](auto& list, const std::string& name, const auto& name_of) -> auto& {
    for (auto& item : list)
      if (name_of(item) == name) return item;
    name_of(list.emplace_back()) = name;
    return list.back();
  };
  for (const auto& drawn : all) {
    for (const auto& held : drawn.held)
      add(named(
              rows, held.row, [](auto& c) -> auto& { return c.row.name; }),
          held, drawn.strata, limits);
    for (const auto& told : drawn.told)
      ++named(
            confusions, told.row, [](auto& c) -> auto& { return c.name; })
            .count[{told.truth, told.said}];
  }
  Tally result;
  for (auto& c : rows) {
    c.row.claim = population.claim;
    result.rows.push_back(finished(std::move(c)));
  }
  result.confusions = std::move(confusions);
  return result;
}

std::vector<std::string> complaints(const Row& row, Limits limits) {
  std::vector<std::string> out;
  if (row.claim == Claim::stranger) return out;
  const int n = row.stated();
  const bool both = row.claim == Claim::interval;
  const bool enough = row.captures >= 1000;  // for medians
  if (too_many(row.refused, row.captures, 0.02, limits))
    out.push_back(percent(row.refused, row.captures) + " have no value, allowed 2 %");
  if (too_few(row.held, n, both ? 0.93 : 0.95, limits))
    out.push_back(percent(row.held, n) + " hold the truth, at least " + (both ? "93 %" : "95 %"));
  if (both && too_many(row.held, n, 0.97, limits))
    out.push_back(percent(row.held, n) + " hold the truth, at most 97 %: too wide");
  if (both)
    for (const auto& [missed, where] : {std::pair{row.below, "below"}, {row.above, "above"}}) {
      if (too_few(missed, n, 0.015, limits) || too_many(missed, n, 0.035, limits))
        out.push_back(percent(missed, n) + " have the truth " + where + ", 1.5 to 3.5 %");
    }
  for (const auto& [passed, limit] : {std::pair{row.passed_high, "an upper"}, {row.passed_low, "a lower"}})
    if (too_many(passed, n, 0.035, limits))
      out.push_back(percent(passed, n) + " pass by " + limit + " limit that they do not quite keep, allowed 3.5 %");
  if (enough && both && std::abs(row.bias) > 0.1) out.push_back("bias above a tenth of u");
  if (enough && both && row.width > 1.5) out.push_back("more than 1.5 times as wide as errors are");
  for (const auto& [name, share] : row.strata)
    if (share.of >= 100 && too_few(share.held, share.of, 0.90, limits))
      out.push_back(percent(share.held, share.of) + " of '" + name + "' hold the truth, at least 90 %");
  return out;
}

std::vector<std::string> complaints(const Confusion& confusion, Limits limits) {
  // What is said with a 95 % confidence may be wrong that often.
  if (too_many(confusion.wrong(), confusion.captures(), 0.05, limits))
    return {percent(confusion.wrong(), confusion.captures()) + " are wrong, allowed 5 %"};
  return {};
}

}  // namespace trackrod::test
