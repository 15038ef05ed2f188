#include <algorithm>
#include <cmath>

#include "harness/base/units.hpp"
#include "harness/report/margin.hpp"
#include "harness/report/page.hpp"
#include "harness/report/rounding.hpp"
#include "harness/report/text.hpp"

namespace trackrod::page {
namespace {

std::string joined(const std::vector<std::string>& words) {
  std::string out;
  for (const auto& w : words) out += (out.empty() ? "" : ", ") + w;
  return out;
}

std::string percent(double share) { return std::isfinite(share) ? shown(share * 100.0, 4) + " %" : "stated"; }

// The finding, its interval in words and what it was held against.
std::string numbers(const Finding& f) {
  auto out = element("div", value_text(f), "value");
  if (const auto interval = interval_text(f); !interval.empty())
    out += element("div", percent(f.coverage) + " interval " + interval, "soft");
  if (f.limit) out += element("div", "limit " + limit_text(f) + (f.rule.empty() ? "" : ", " + f.rule), "soft");
  return wrap("div", out);
}

std::string identity(const Finding& f) {
  auto out = verdict_badge(f) + element("h3", f.name);
  std::vector<std::string> place;
  if (!f.requirement.empty()) place.push_back(f.requirement);
  if (!f.step.empty()) place.push_back("step " + f.step);
  if (!f.signals.empty()) place.push_back(joined(f.signals));
  return wrap("div", out + element("div", joined(place), "soft"));
}

std::string amount(double u, const std::string& unit) {
  if (!std::isfinite(u)) return "not known";
  return unit.empty() || unit == "1" ? shown(u, 3) : shown(u, 3) + " " + unit;
}

std::string degrees(double nu) { return std::isfinite(nu) ? shown(nu, 4) : "∞"; }

double square(double u) { return std::isfinite(u) ? u * u : 0.0; }

// Variance of each line of a budget; lines of one group are fully correlated and share one, that of their signed sum.
double variance_of(const Contribution& line, const std::vector<Contribution>& budget) {
  if (line.group.empty()) return square(line.standard_uncertainty);
  double sum = 0.0;
  for (const auto& c : budget)
    if (c.group == line.group) sum += c.standard_uncertainty;
  return square(sum);
}

bool first_of_group(std::size_t at, const std::vector<Contribution>& budget) {
  for (std::size_t i = 0; i < at; ++i)
    if (!budget[at].group.empty() && budget[i].group == budget[at].group) return false;
  return true;
}

std::string share_of(std::size_t at, const std::vector<Contribution>& budget, double total) {
  if (!(total > 0.0)) return "";
  if (!first_of_group(at, budget)) return "with '" + budget[at].group + "'";
  const auto share = shown(100.0 * variance_of(budget[at], budget) / total, 2) + " %";
  return budget[at].group.empty() ? share : share + " (all of '" + budget[at].group + "')";
}

// Those of `all` that are, or are not, among `others`.
Conditions among(const Conditions& all, const Conditions& others, bool wanted) {
  Conditions out;
  for (const auto& c : all)
    if ((std::find(others.begin(), others.end(), c) != others.end()) == wanted) out.push_back(c);
  return out;
}

std::string card(const Finding& f) {
  auto inside = wrap("div", identity(f) + numbers(f) + wrap("div", draw_margin(f)), "row") + conditions(f.conditions);
  if (!f.reason.empty()) inside += element("p", f.reason, "reason");
  return wrap("div", inside + budget(f), "finding") + "\n";
}

}  // namespace

std::string conditions(const Conditions& all) {
  std::vector<std::string> words;
  for (const auto& [what, value] : all) words.push_back(what + " " + value);
  return words.empty() ? "" : element("p", "Conditions: " + joined(words) + ".", "soft");
}

std::string budget(const Finding& f) {
  if (f.budget.empty()) return "";
  double total = 0.0;
  for (std::size_t i = 0; i < f.budget.size(); ++i)
    if (first_of_group(i, f.budget)) total += variance_of(f.budget[i], f.budget);
  std::vector<std::vector<std::string>> rows;
  for (std::size_t i = 0; i < f.budget.size(); ++i) {
    const auto& c = f.budget[i];
    rows.push_back({escaped(c.name), escaped(amount(c.standard_uncertainty, f.unit)),
                    escaped(share_of(i, f.budget, total)), std::string(1, c.type), escaped(c.distribution),
                    degrees(c.degrees_of_freedom)});
  }
  auto title = std::string{"Uncertainty budget"};
  if (f.standard_uncertainty && std::isfinite(*f.standard_uncertainty))
    title += ", standard uncertainty " + amount(*f.standard_uncertainty, f.unit);
  return wrap("details", element("summary", title) + table({"contribution", "standard uncertainty", "share of variance",
                                                            "type", "distribution", "degrees of freedom"},
                                                           rows, ""));
}

std::string digest(const std::string& step, const std::vector<const Finding*>& findings) {
  std::optional<Conditions> common;
  for (const auto* f : findings)
    if (f->value) common = common ? among(*common, f->conditions, true) : f->conditions;
  const auto shared = common.value_or(Conditions{});
  std::vector<std::vector<std::string>> rows;
  for (const auto* f : findings) {
    auto about = conditions(among(f->conditions, shared, false));
    if (!f->reason.empty()) about += element("p", f->reason);
    rows.push_back({escaped(f->name), escaped(value_text(*f)), escaped(interval_text(*f)),
                    interval_text(*f).empty() ? "" : escaped(percent(f->coverage)), about + budget(*f)});
  }
  return element("h3", step.empty() ? "whole run" : "step " + step) + conditions(shared) +
         table({"finding", "value", "interval", "coverage", "about it"}, rows, "") + "\n";
}

std::string verdict_class(const Finding& f) {
  if (!f.judged) return "unjudged";
  auto name = verdict_name(f.verdict);
  std::replace(name.begin(), name.end(), ' ', '-');
  std::replace(name.begin(), name.end(), '_', '-');
  return name;
}

std::string verdict_badge(const Finding& f) {
  return element("span", f.judged ? verdict_name(f.verdict) : "no limit set", "word " + verdict_class(f));
}

std::string requirements(const std::vector<Finding>& findings) {
  std::vector<std::vector<std::string>> rows;
  for (const auto& f : findings)
    if (f.judged)
      rows.push_back({verdict_badge(f),
                      f.requirement.empty() ? element("span", "none named", "soft") : escaped(f.requirement),
                      escaped(f.name), escaped(f.step), element("span", value_text(f), "number"),
                      element("span", limit_text(f), "number")});
  return section(
      "Requirements",
      table({"verdict", "requirement", "finding", "step", "value", "limit"}, rows,
            "No finding was held against a limit, so none of them has a verdict.") +
          (rows.empty() ? ""
                        : element("p",
                                  "Rule guarded: pass only where the whole interval lies inside the limit, fail only "
                                  "where it lies wholly outside, else inconclusive. Rule simple: the value alone is "
                                  "compared with the limit.",
                                  "soft")));
}

std::string findings(const std::vector<Finding>& findings) {
  std::string cards;
  std::vector<std::pair<std::string, std::vector<const Finding*>>> steps;  // of those without a limit
  for (const auto& f : findings) {
    if (f.judged) {
      cards += card(f);
      continue;
    }
    auto step = std::find_if(steps.begin(), steps.end(), [&](const auto& s) { return s.first == f.step; });
    if (step == steps.end()) step = steps.insert(steps.end(), {f.step, {}});
    step->second.push_back(&f);
  }
  std::string out;
  if (!cards.empty())
    out += section("Findings",
                   element("p",
                           "Values are given with half their interval, rounded by it. In the pictures the "
                           "shaded zone is what the limit allows, the bar is the interval, the diamond the value.",
                           "soft") +
                       cards);
  std::string digests;
  for (const auto& [step, members] : steps) digests += digest(step, members);
  if (!digests.empty()) out += wrap("div", section("Measured without a limit", digests), "digest");
  return findings.empty() ? section("Findings", element("p", "The scores gave no finding.")) : out;
}

}  // namespace trackrod::page
