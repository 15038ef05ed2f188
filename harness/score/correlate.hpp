#pragma once
// Lag of one evenly sampled series behind another by cross-correlation, to a fraction of a sample.

#include <optional>
#include <vector>

namespace trackrod {

struct CorrelationLag {
  double samples{0.0};      // y behind x
  double coefficient{0.0};  // of correlation at the nearest whole lag; negative when y goes against x
};

// The lag k from `least` to `most` at which x shifted by k and y correlate most, by |coefficient|; the parabola through
// it and its neighbours gives the fraction. x[lead] and y[0] belong to the same instant, and x must cover all shifts:
// lead >= most, x.size() >= lead + y.size() - least. Each shift is compared over all of y, with its own mean and
// variance, so the ends of the record do not pull the peak (a product sum over the overlap would). Empty: the largest
// coefficient is at either end of the lags, or one side does not vary.
std::optional<CorrelationLag> correlation_lag(const std::vector<double>& x, const std::vector<double>& y, int lead,
                                              int least, int most);

// Central difference over +- half samples, per sample; `half` values shorter at either end.
std::vector<double> central_difference(const std::vector<double>& y, std::size_t half);

}  // namespace trackrod
