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
  return std::isfinite(u) ? shown(u, 3) + " " + unit : "not known";
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
    title += ", standard uncertainty " + shown(*f.standard_uncertainty, 3) + " " + f.unit;
  return wrap("details", element("summary", title) + table({"contribution", "standard uncertainty", "share of variance",
                                                            "type", "distribution", "degrees of freedom"},
                                                           rows, ""));
}

std::string conditions(const Finding& f) {
  std::vector<std::string> words;
  for (const auto& [what, value] : f.conditions) words.push_back(what + " " + value);
  return words.empty() ? "" : element("p", "At " + joined(words) + ".", "soft");
}

}  // namespace

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
  std::string out;
  for (const auto& f : findings) {
    auto inside = wrap("div", identity(f) + numbers(f) + wrap("div", draw_margin(f)), "row");
    inside += conditions(f);
    if (!f.reason.empty()) inside += element("p", f.reason, "reason");
    out += wrap("div", inside + budget(f), "finding") + "\n";
  }
  if (out.empty()) return section("Findings", element("p", "The scores gave no finding."));
  return section("Findings",
                 element("p",
                         "Values are given with half their interval, rounded by it. In the pictures the shaded "
                         "zone is what the limit allows, the bar is the interval, the diamond the value.",
                         "soft") +
                     out);
}

}  // namespace trackrod::page
