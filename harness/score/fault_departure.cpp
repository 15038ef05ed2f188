#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <random>

#include "harness/score/fault_effect.hpp"

namespace trackrod {
namespace {

constexpr std::array<std::size_t, 4> half_windows{6, 4, 2, 0};  // samples, widest first; 0: the samples themselves
constexpr int draws = 400;
constexpr double reach = 6.0;      // standard deviations below the greatest that noise may make the greatest
constexpr double too_stiff = 1.6;  // times its noise: what a parabola leaves of a course that is none

// Weights of the samples about one, whose sum is the value of the parabola there; the times need not be even.
Eigen::VectorXd weights_at(const std::vector<double>& t, std::size_t i, std::size_t half) {
  if (half == 0) return Eigen::VectorXd::Ones(1);
  const auto n = static_cast<Eigen::Index>(2 * half + 1);
  const double scale = t[i + half] - t[i - half];
  Eigen::MatrixXd rows(n, 3);
  for (Eigen::Index k = 0; k < n; ++k) {
    const double x = (t[i - half + static_cast<std::size_t>(k)] - t[i]) / scale;
    rows.row(k) << 1.0, x, x * x;
  }
  return rows.completeOrthogonalDecomposition().pseudoInverse().row(0).transpose();
}

double weighted(const std::vector<double>& v, std::size_t i, const Eigen::VectorXd& weights) {
  const std::size_t half = static_cast<std::size_t>(weights.size()) / 2;
  double sum = 0.0;
  for (std::size_t k = 0; k < 2 * half + 1; ++k) sum += weights[static_cast<Eigen::Index>(k)] * v[i - half + k];
  return sum;
}

// Places that may be the greatest.
struct Place {
  std::size_t course{0}, at{0};
  Eigen::VectorXd weights;
  double value{0.0};
};

struct Smoothed {
  std::size_t half{0};
  std::vector<std::vector<double>> courses;
  std::vector<Place> places;  // those that noise may make the greatest
  Place greatest;
};

std::optional<Smoothed> smoothed(const std::vector<DepartureCourse>& courses, std::size_t half, double noise) {
  const std::size_t ends = std::max<std::size_t>(half, 2);
  Smoothed s;
  s.half = half;
  for (std::size_t c = 0; c < courses.size(); ++c) {
    const auto& [t, v] = courses[c];
    s.courses.push_back(v);
    for (std::size_t i = ends; i + ends < t.size(); ++i) {
      Place p{c, i, weights_at(t, i, half), 0.0};
      p.value = weighted(v, i, p.weights);
      s.courses[c][i] = p.value;
      s.places.push_back(std::move(p));
    }
  }
  if (s.places.empty()) return std::nullopt;
  s.greatest = *std::max_element(s.places.begin(), s.places.end(),
                                 [](const Place& a, const Place& b) { return std::abs(a.value) < std::abs(b.value); });
  const double least = std::abs(s.greatest.value) - reach * noise * s.greatest.weights.norm();
  std::erase_if(s.places, [&](const Place& p) { return std::abs(p.value) < least; });
  return s;
}

// Does the course go round its greatest place as a parabola does, as far as noise can tell?
bool is_round(const DepartureCourse& course, std::size_t at, std::size_t half, double noise) {
  const auto n = static_cast<Eigen::Index>(2 * half + 1);
  Eigen::MatrixXd rows(n, 3);
  Eigen::VectorXd v(n);
  for (Eigen::Index k = 0; k < n; ++k) {
    const std::size_t i = at - half + static_cast<std::size_t>(k);
    const double x = (course.t[i] - course.t[at]) / (course.t[at + half] - course.t[at - half]);
    rows.row(k) << 1.0, x, x * x;
    v[k] = course.v[i];
  }
  const Eigen::VectorXd left = v - rows * rows.completeOrthogonalDecomposition().solve(v);
  return left.squaredNorm() <= too_stiff * too_stiff * noise * noise * static_cast<double>(n - 3);
}

// Slope of a line through the samples first to last, 1/s.
double slope_over(const DepartureCourse& course, std::size_t first, std::size_t last) {
  double n = 0.0, t = 0.0, v = 0.0, tt = 0.0, tv = 0.0;
  for (std::size_t i = first; i <= last; ++i) {
    const double x = course.t[i] - course.t[first];
    n += 1.0, t += x, v += course.v[i], tt += x * x, tv += x * course.v[i];
  }
  return (tv - t * v / n) / (tt - t * t / n);
}

// By how much a peak with a corner may stand out between two samples, at most: where two lines meet, of slopes a and b,
// a corner anywhere between two samples is a b / (a + b) times their distance above both at the worst. Read over a few
// samples beside the corner, at least two on either side.
double between_samples(const DepartureCourse& course, std::size_t at) {
  constexpr std::size_t few = 5;
  const std::size_t before = std::min(few, at), after = std::min(few, course.t.size() - 1 - at);
  const double a = std::abs(slope_over(course, at - before, at - 1));
  const double b = std::abs(slope_over(course, at + 1, at + after));
  return a + b > 0.0 ? a * b / (a + b) * 0.5 * (course.t[at + 1] - course.t[at - 1]) : 0.0;
}

}  // namespace

std::optional<GreatestDeparture> greatest_departure(const std::vector<DepartureCourse>& courses, double noise) {
  std::optional<Smoothed> s;
  for (const auto half : half_windows) {
    s = smoothed(courses, half, noise);
    if (s && (half == 0 || is_round(courses[s->greatest.course], s->greatest.at, half, noise))) break;
  }
  if (!s) return std::nullopt;
  const auto& greatest = s->greatest;
  const double found = std::abs(greatest.value);

  // The smoothed courses stand for what was so.
  std::mt19937_64 random{1};
  std::normal_distribution<double> normal;
  std::vector<double> of_draw;
  auto drawn = s->courses;
  for (int d = 0; d < draws; ++d) {
    std::vector<bool> done(courses.size(), false);
    double most = 0.0, expected = 0.0;
    for (const auto& p : s->places) {
      if (!done[p.course])
        for (std::size_t i = 0; i < drawn[p.course].size(); ++i)
          drawn[p.course][i] = s->courses[p.course][i] + noise * normal(random);
      done[p.course] = true;
      most = std::max(most, std::abs(weighted(drawn[p.course], p.at, p.weights)));
      expected = std::max(expected, std::abs(weighted(s->courses[p.course], p.at, p.weights)));
    }
    of_draw.push_back(most - expected);
  }
  GreatestDeparture out;
  for (const double x : of_draw) out.bias += x / draws;
  double square = 0.0;
  for (const double x : of_draw) square += (x - out.bias) * (x - out.bias) / (draws - 1.0);
  out.noise = std::sqrt(square);
  const auto& course = courses[greatest.course];
  double stands_out = 0.0;
  if (s->half == 0) {
    stands_out = 0.5 * between_samples(course, greatest.at);
    out.smoothing = stands_out;
    out.corner = true;
  } else {
    const auto finer = weights_at(course.t, greatest.at, s->half / 2);
    out.smoothing = std::abs(std::abs(weighted(course.v, greatest.at, finer)) - found);
  }
  out.value = std::max(0.0, found + stands_out - out.bias);
  out.when = course.t[greatest.at];
  out.fault = greatest.course;
  return out;
}

}  // namespace trackrod
