#include "harness/score/delay_figures.hpp"

#include "harness/score/figure.hpp"

namespace trackrod {

std::vector<Figure> delay_figures(const std::string& step, const SignalInfo& input, const SignalInfo& output,
                                  const DelaySpan& span, const Stretch& stretch, const LagFit& fit) {
  Figure motion{"Step '" + step + "': output, input through the gain, and fitted model",
                "time in the step (s)",
                output.name + " (" + output.unit + ")",
                {},
                {}};
  std::vector<double> scaled, residual;
  for (const double u : span.input.y) scaled.push_back(fit.model.gain * u + fit.model.offset);
  for (std::size_t i = 0; i < stretch.t.size(); ++i)
    residual.push_back(stretch.output[i] - fit.fitted_output.front()[i]);
  motion.curves = {thinned(input.name + ", scaled", span.input.t, scaled),
                   thinned(output.name, span.output.t, span.output.y),
                   thinned("model", stretch.t, fit.fitted_output.front())};

  Figure left{"Step '" + step + "': what the model leaves unexplained",
              "time in the step (s)",
              "residual (" + output.unit + ")",
              {thinned("residual", stretch.t, residual)},
              {}};
  return {std::move(motion), std::move(left)};
}

}  // namespace trackrod
