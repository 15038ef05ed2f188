#pragma once
// Lag of one evenly sampled series behind another by cross-correlation, to a fraction of a sample.

#include <optional>
#include <vector>

namespace trackrod {

struct CorrelationLag {
  double samples{0.0};      // y behind x
  double coefficient{0.0};  // of correlation at the nearest whole lag; negative when y goes against x
  // How the lag came about: it is where sum(weight[k] * product at lag first + k) is zero, and `fall` is how fast this
  // sum falls with the lag. A product is the sum of y times shifted x.
  int first{0};
  std::vector<double> weight;
  double fall{0.0};
};

// Correlation coefficients of y with x shifted by the lags least, least + 1, ... x[lead] and y[0] belong to the same
// instant, and x must cover all shifts: lead >= most, x.size() >= lead + y.size() - least. Each shift is compared over
// all of y, with its own mean and variance, so the ends of the record do not pull the peak (a product sum over the
// overlap would).
struct CorrelationCurve {
  int least{0};
  std::vector<double> coefficient;
  std::vector<double> norm;  // what each coefficient was divided by: spread of y times that of shifted x
};
// Empty: too few values, or one side does not vary.
std::optional<CorrelationCurve> correlation_curve(const std::vector<double>& x, const std::vector<double>& y, int lead,
                                                  int least, int most);

// The lag at which |coefficient| is greatest. Its fraction of a sample comes from the parabola through the peak and its
// neighbours. These three are often so alike that noise decides between them; with `flank` below 1 it comes from a
// polynomial of fourth degree by least squares through all lags around the peak whose coefficient is at least `flank`
// of its height, when there are five or more. Empty: the peak is at either end of the lags.
std::optional<CorrelationLag> lag_of(const CorrelationCurve& curve, double flank = 1.0);

// Standard uncertainty of the lag, in samples, from white noise of this standard deviation in the x and y of the
// curve. `half` > 0: x and y are central differences (below) of what carries the noise.
double lag_noise(const CorrelationLag& lag, const std::vector<double>& x, const std::vector<double>& y, int lead,
                 double x_noise, double y_noise, std::size_t half);

// Central difference over +- half samples, per sample; `half` values shorter at either end.
std::vector<double> central_difference(const std::vector<double>& y, std::size_t half);

}  // namespace trackrod
