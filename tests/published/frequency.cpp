// Lines of a spectrum and the fit of a response against NumPy (numpy.fft.rfft, numpy.linalg.lstsq) on the same arrays.

#include <unistd.h>

#include <cstdio>
#include <filesystem>
#include <fstream>
#include <numbers>
#include <random>

#include "harness/score/response.hpp"
#include "tests/catch.hpp"

namespace trackrod::test {
namespace {

struct FromNumpy {
  std::vector<std::complex<double>> input, output;
  std::complex<double> value;
  double coherence{0.0};
};

FromNumpy by_numpy(const Series& x, const Series& y, double frequency, double delay, int first, int last) {
  const auto path = std::filesystem::temp_directory_path() / ("trackrod-spectrum-" + std::to_string(getpid()) + ".txt");
  {
    std::ofstream file{path};
    file.precision(17);
    file << x.interval << " " << frequency << " " << delay << " " << first << " " << last << "\n";
    for (const auto* s : {&x, &y}) {
      for (const double v : s->y) file << v << " ";
      file << "\n";
    }
  }
  const std::string command =
      "/usr/bin/python3 " + std::string{TRACKROD_SOURCE_DIR} + "/tests/published/spectrum.py " + path.string();
  std::FILE* pipe = popen(command.c_str(), "r");
  REQUIRE(pipe);
  FromNumpy out;
  double a = 0, b = 0, c = 0, d = 0;
  std::vector<std::array<double, 4>> rows;
  while (std::fscanf(pipe, "%lf %lf %lf %lf", &a, &b, &c, &d) == 4) rows.push_back({a, b, c, d});
  REQUIRE(pclose(pipe) == 0);
  std::filesystem::remove(path);
  REQUIRE(rows.size() == static_cast<std::size_t>(last - first) + 2);
  for (std::size_t i = 0; i + 1 < rows.size(); ++i) {
    out.input.emplace_back(rows[i][0], rows[i][1]);
    out.output.emplace_back(rows[i][2], rows[i][3]);
  }
  out.value = {rows.back()[0], rows.back()[1]};
  out.coherence = rows.back()[2];
  return out;
}

TEST_CASE("spectra and their fit agree with NumPy on the same samples") {
  const std::uint64_t seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937_64 random{seed};
  std::normal_distribution<double> normal;
  constexpr int count = 6000;
  constexpr double step = 1e-3, delay = 0.031, frequency = 3.0;
  // Waves under a bell that is zero at both ends, to more digits than a double has.
  const auto wave = [](double t) {
    return 10.0 * std::exp(-std::pow((t - 3.0) / 0.45, 2)) * std::sin(2.0 * std::numbers::pi * frequency * t);
  };
  Series x, y;
  x.interval = y.interval = step;
  for (int i = 0; i < count; ++i) {
    const double t = i * step, bell = std::exp(-std::pow((t - 3.0) / 0.45, 2));
    x.t.push_back(t), y.t.push_back(t);
    x.y.push_back(wave(t) + 0.05 * bell * normal(random));
    y.y.push_back(0.4 * wave(t - delay) + 0.05 * bell * normal(random));
  }
  const int first = 14, last = 22;  // sixths of a hertz
  const auto expected = by_numpy(x, y, frequency, delay, first, last);
  const double length = count * step;
  const auto lines = RestToRest{x, y, length}.lines((first - 0.5) / length, (last + 0.5) / length);
  REQUIRE(lines.size() == static_cast<std::size_t>(last - first + 1));
  for (std::size_t i = 0; i < lines.size(); ++i) {
    CHECK(std::abs(lines[i].input - expected.input[i]) < 1e-9 * std::abs(expected.input[i]));
    CHECK(std::abs(lines[i].output - expected.output[i]) < 1e-9 * std::abs(expected.output[i]));
  }
  const auto response = response_at(lines, {}, frequency, delay);
  REQUIRE(response.trouble.empty());
  CHECK(std::abs(response.value - expected.value) < 1e-9 * std::abs(expected.value));
  CHECK(response.coherence == Approx(expected.coherence).epsilon(1e-9));
}

}  // namespace
}  // namespace trackrod::test
