#include "harness/score/budget.hpp"

#include <algorithm>
#include <boost/math/distributions/normal.hpp>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>
#include <map>
#include <random>

namespace trackrod {
namespace {

constexpr std::size_t draws = 40000;
constexpr std::uint64_t seed = 20081101;  // any fixed number: the same budget must give the same interval
// Share of the variance from which on a rectangle visibly narrows the interval that a normal shape would give.
constexpr double rectangle_share = 0.25;

struct Line {
  double u{0.0};
  double dof{std::numeric_limits<double>::infinity()};
  bool rectangle{false};
};

// Lines with the groups added up. A group of one rectangle stays a rectangle.
std::vector<Line> independent_lines(const std::vector<Contribution>& budget) {
  std::vector<Line> lines;
  std::map<std::string, std::vector<const Contribution*>> groups;
  for (const auto& c : budget) {
    if (c.group.empty())
      lines.push_back({std::abs(c.standard_uncertainty), c.degrees_of_freedom, c.distribution == "rectangular"});
    else
      groups[c.group].push_back(&c);
  }
  for (const auto& [name, members] : groups) {
    Line sum{0.0, std::numeric_limits<double>::infinity(), true};
    for (const auto* c : members) {
      sum.u += c->standard_uncertainty;
      sum.dof = std::min(sum.dof, c->degrees_of_freedom);
      sum.rectangle = sum.rectangle && c->distribution == "rectangular";
    }
    sum.u = std::abs(sum.u);
    lines.push_back(sum);
  }
  return lines;
}

double effective_dof(const std::vector<Line>& lines, double u) {
  double below = 0.0;
  for (const auto& line : lines)
    if (std::isfinite(line.dof)) below += std::pow(line.u, 4) / line.dof;
  return below > 0.0 ? std::pow(u, 4) / below : std::numeric_limits<double>::infinity();
}

bool rectangles_weigh(const std::vector<Line>& lines, double u) {
  double variance = 0.0;
  for (const auto& line : lines)
    if (line.rectangle) variance += line.u * line.u;
  return variance > rectangle_share * u * u;
}

// Half-width that holds `coverage` of the sum of all lines, each drawn from its own distribution.
double drawn_half_width(const std::vector<Line>& lines, double coverage) {
  std::mt19937_64 random{seed};
  std::uniform_real_distribution<double> even{-std::sqrt(3.0), std::sqrt(3.0)};
  std::normal_distribution<double> normal;
  std::vector<double> sum(draws, 0.0);
  for (const auto& line : lines) {
    if (line.u <= 0.0) continue;
    std::student_t_distribution<double> student{std::isfinite(line.dof) ? line.dof : 1.0};
    for (auto& s : sum)
      s += line.u * (line.rectangle ? even(random) : std::isfinite(line.dof) ? student(random) : normal(random));
  }
  for (auto& s : sum) s = std::abs(s);
  const auto nth = sum.begin() + static_cast<std::ptrdiff_t>(coverage * static_cast<double>(draws));
  std::nth_element(sum.begin(), nth, sum.end());
  return *nth;
}

}  // namespace

Contribution rectangular(const std::string& name, double half_width, const std::string& group) {
  Contribution c;
  c.name = name;
  c.standard_uncertainty = half_width / std::sqrt(3.0);
  c.distribution = "rectangular";
  c.group = group;
  return c;
}

Contribution type_a(const std::string& name, double standard_uncertainty, double degrees_of_freedom) {
  Contribution c;
  c.name = name;
  c.standard_uncertainty = standard_uncertainty;
  c.degrees_of_freedom = degrees_of_freedom;
  c.type = 'A';
  return c;
}

Contribution type_b(const std::string& name, double standard_uncertainty, const std::string& group) {
  Contribution c;
  c.name = name;
  c.standard_uncertainty = standard_uncertainty;
  c.group = group;
  return c;
}

double coverage_factor(double degrees_of_freedom, double coverage) {
  const double p = 0.5 * (1.0 + coverage);
  if (!std::isfinite(degrees_of_freedom) || degrees_of_freedom > 1e6)
    return boost::math::quantile(boost::math::normal{}, p);
  return boost::math::quantile(boost::math::students_t{std::max(1.0, std::floor(degrees_of_freedom))}, p);
}

Combined combine(double value, const std::vector<Contribution>& budget, double coverage) {
  const auto lines = independent_lines(budget);
  Combined out;
  for (const auto& line : lines) out.standard_uncertainty += line.u * line.u;
  out.standard_uncertainty = std::sqrt(out.standard_uncertainty);
  out.degrees_of_freedom = effective_dof(lines, out.standard_uncertainty);
  out.coverage_factor = coverage_factor(out.degrees_of_freedom, coverage);
  if (out.standard_uncertainty > 0.0 && rectangles_weigh(lines, out.standard_uncertainty))
    out.coverage_factor = drawn_half_width(lines, coverage) / out.standard_uncertainty;
  const double half = out.coverage_factor * out.standard_uncertainty;
  out.interval = {value - half, value + half};
  return out;
}

double propagated(const Eigen::VectorXd& sensitivity, const Eigen::MatrixXd& covariance) {
  return std::sqrt(std::max(0.0, sensitivity.dot(covariance * sensitivity)));
}

Repeated repeated(const std::vector<double>& values, const std::vector<double>& noise) {
  Repeated out;
  out.count = values.size();
  if (values.empty()) return out;
  const double n = static_cast<double>(values.size());
  double noise_variance = 0.0;
  for (const double v : values) out.mean += v / n;
  for (const double u : noise) noise_variance += u * u / n;
  const auto [least, greatest] = std::minmax_element(values.begin(), values.end());
  out.least = *least;
  out.greatest = *greatest;
  out.budget.push_back(type_a("noise", std::sqrt(noise_variance / n), std::numeric_limits<double>::infinity()));
  if (values.size() < 2) return out;
  double scatter = 0.0;
  for (const double v : values) scatter += (v - out.mean) * (v - out.mean) / (n - 1.0);
  out.scatter = std::sqrt(std::max(0.0, scatter - noise_variance));
  out.budget.push_back(type_a("repeatability", out.scatter / std::sqrt(n), n - 1.0));
  return out;
}

}  // namespace trackrod
