#include "harness/score/response.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <utility>

#include "harness/base/units.hpp"

namespace trackrod {
namespace {

using Complex = std::complex<double>;
constexpr double turn = 2.0 * std::numbers::pi;
constexpr std::size_t fewest_lines = 7;
constexpr double most_input_noise = 0.1;  // of the input's power in the band
constexpr double least_coherence = 0.5;

// Mean of the samples within [from, to].
double level(const Series& s, double from, double to) {
  double sum = 0.0;
  std::size_t n = 0;
  for (std::size_t i = s.from(from); i < s.size() && s.t[i] <= to; ++i, ++n) sum += s.y[i];
  return n > 0 ? sum / static_cast<double>(n) : s.at(0.5 * (from + to));
}

void level_out(Series& s, double length) {
  constexpr double before = 0.02, after = 0.1;  // s: the motion begins at once, and ends long before
  const double first = level(s, s.t.front(), s.t.front() + before), last = level(s, length - after, length);
  for (std::size_t i = 0; i < s.size(); ++i) s.y[i] -= first + (last - first) * std::clamp(s.t[i] / length, 0.0, 1.0);
}

// The time that a sample stands for.
double share_of_time(const Series& s, std::size_t i) {
  const double before = i > 0 ? s.t[i - 1] : s.t[i], after = i + 1 < s.size() ? s.t[i + 1] : s.t[i];
  return 0.5 * (after - before);
}

// One line of the fit: the input, delayed, times powers of how far it is from the frequency.
template <int Terms>
Eigen::Matrix<Complex, Terms, 1> fit_row(const SpectrumLine& line, double frequency, double delay) {
  Complex x = line.input * std::polar(1.0, -turn * line.frequency * delay);
  Eigen::Matrix<Complex, Terms, 1> row;
  for (int i = 0; i < Terms; ++i, x *= line.frequency / frequency - 1.0) row[i] = x;
  return row;
}

// Least squares over a band: the inverse of its normal matrix, and the coefficients.
template <int Terms>
struct Fit {
  Eigen::Matrix<Complex, Terms, Terms> inverse = Eigen::Matrix<Complex, Terms, Terms>::Zero();
  Eigen::Matrix<Complex, Terms, 1> c = Eigen::Matrix<Complex, Terms, 1>::Zero();

  Fit(const std::vector<SpectrumLine>& lines, double frequency, double delay) {
    if (lines.size() < 2 * Terms) return;
    Eigen::Matrix<Complex, Terms, Terms> normal = Eigen::Matrix<Complex, Terms, Terms>::Zero();
    Eigen::Matrix<Complex, Terms, 1> right = Eigen::Matrix<Complex, Terms, 1>::Zero();
    for (const auto& line : lines) {
      const auto row = fit_row<Terms>(line, frequency, delay);
      normal += row.conjugate() * row.transpose();
      right += row.conjugate() * line.output;
    }
    inverse = normal.inverse();
    c = inverse * right;
  }
  // By how much the output of a line counts in a coefficient.
  Complex weight(int coefficient, const SpectrumLine& line, double frequency, double delay) const {
    return (inverse.row(coefficient) * fit_row<Terms>(line, frequency, delay).conjugate())[0];
  }
};

// The transform of a series over its whole length, sum of samples times their share of time, at one multiple of a
// frequency after another: every sample's phase turns on by as much as from the one before, without a sine.
class TurningTransform {
 public:
  TurningTransform(const Series& s, double frequency, long first)
      : value_(static_cast<Eigen::Index>(s.size())), by_(value_.size()) {
    for (std::size_t i = 0; i < s.size(); ++i) {
      const double angle = -turn * frequency * s.t[i];
      const auto at = static_cast<Eigen::Index>(i);
      value_[at] = share_of_time(s, i) * s.y[i] * std::polar(1.0, angle * static_cast<double>(first));
      by_[at] = std::polar(1.0, angle);
    }
  }
  Complex next() {
    const Complex sum = value_.sum();
    value_ *= by_;
    return sum;
  }

 private:
  Eigen::ArrayXcd value_, by_;
};

}  // namespace

RestToRest::RestToRest(Series input, Series output, double length)
    : input_{std::move(input)}, output_{std::move(output)}, length_{length} {
  level_out(input_, length);
  level_out(output_, length);
}

std::vector<SpectrumLine> RestToRest::lines(double low, double high) const {
  double squares = 0.0;  // of the shares of time: white noise adds its variance times that
  for (std::size_t i = 0; i < input_.size(); ++i) squares += std::pow(share_of_time(input_, i), 2);
  const auto first = std::max(1L, static_cast<long>(std::ceil(low * length_)));
  std::vector<SpectrumLine> all;
  TurningTransform input{input_, 1.0 / length_, first}, output{output_, 1.0 / length_, first};
  for (auto k = first; static_cast<double>(k) <= high * length_; ++k)
    all.push_back(
        {static_cast<double>(k) / length_, input.next(), output.next(), input_.noise * input_.noise * squares});
  return all;
}

double delay_between(const std::vector<SpectrumLine>& lines, double least, double most) {
  double fastest = 0.0, best = least, greatest = -1.0;
  for (const auto& line : lines) fastest = std::max(fastest, line.frequency);
  if (fastest <= 0.0) return 0.0;
  for (double delay = least; delay <= most; delay += 0.05 / fastest) {
    Complex sum{};
    for (const auto& line : lines)
      sum += line.output * std::conj(line.input) * std::polar(1.0, turn * line.frequency * delay);
    if (std::abs(sum) > greatest) greatest = std::abs(sum), best = delay;
  }
  return best;
}

Response response_at(const std::vector<SpectrumLine>& lines, const std::vector<SpectrumLine>& wider, double frequency,
                     double delay) {
  Response r;
  r.lines = lines.size();
  if (lines.size() < fewest_lines) {
    r.trouble = "the band about it holds " + std::to_string(lines.size()) + " lines of the spectrum, and " +
                std::to_string(fewest_lines) + " are needed: move for longer or more often, or widen \"band\"";
    return r;
  }
  const auto n = static_cast<double>(lines.size());
  double power = 0.0, noise_power = 0.0, output_power = 0.0;
  const Fit<3> fit{lines, frequency, delay};
  Eigen::Vector3cd third = Eigen::Vector3cd::Zero();  // what the third power looks like to the fit
  const auto row = [&](const SpectrumLine& line) { return fit_row<3>(line, frequency, delay); };
  for (const auto& line : lines) {
    const auto v = row(line);
    third += v.conjugate() * fit_row<4>(line, frequency, delay)[3];
    power += std::norm(line.input);
    noise_power += line.input_noise;
    output_power += std::norm(line.output);
  }
  r.input_noise = noise_power / power;
  if (!(r.input_noise < most_input_noise)) {
    r.trouble = "the input hardly moves at this frequency: noise can make " +
                shown(100.0 * std::min(1.0, r.input_noise), 2) + " % of what it shows there";
    return r;
  }
  const auto& inverse = fit.inverse;
  const auto& c = fit.c;
  double left = 0.0;
  for (const auto& line : lines) left += std::norm(line.output - row(line).cwiseProduct(c).sum());
  r.degrees_of_freedom = 2.0 * (n - 3.0);  // each line has two parts
  const double variance = left / (n - 3.0);
  r.coherence = std::clamp(1.0 - variance / (output_power / n), 0.0, 1.0);
  if (r.coherence < least_coherence) {
    r.trouble =
        "only " + shown(100.0 * r.coherence, 2) + " % of the output's motion at this frequency follows the input";
    return r;
  }
  // Noise in the input makes the output look smaller beside it.
  const Complex a = c[0] * (1.0 + r.input_noise);
  r.value = a * std::polar(1.0, -turn * frequency * delay);
  r.phase = std::arg(a) - turn * frequency * delay;
  r.noise = std::sqrt(0.5 * variance * inverse(0, 0).real());
  // A phase that bends to the third power tilts a parabola, by what a wider band tells of that power. What of it is
  // taken out, is known to about half.
  const Fit<5> wide{wider, frequency, delay};
  const Complex per_cubic = (inverse * third)[1], tilt = per_cubic * wide.c[3];
  const auto [lowest, highest] = std::minmax_element(
      lines.begin(), lines.end(), [](const auto& x, const auto& y) { return x.frequency < y.frequency; });
  double squares = 0.0;  // of the weights of all lines, in the tilted slope
  for (const auto& line : wider) {
    Complex weight = -per_cubic * wide.weight(3, line, frequency, delay);
    if (line.frequency >= lowest->frequency && line.frequency <= highest->frequency)
      weight += fit.weight(1, line, frequency, delay);
    squares += std::norm(weight);
  }
  const auto as_delay = [&](Complex slope) { return (slope / c[0]).imag() / (turn * frequency); };
  r.group_delay = delay - as_delay(c[1] - tilt);
  r.group_bend = 0.5 * std::abs(as_delay(tilt));
  r.group_noise = std::sqrt(0.5 * variance * squares) / std::abs(c[0]) / (turn * frequency);
  return r;
}

}  // namespace trackrod
