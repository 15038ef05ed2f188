#include "harness/score/delay_figures.hpp"

#include <algorithm>
#include <cmath>
#include <optional>

#include "harness/score/figure.hpp"

namespace trackrod {
namespace {

constexpr double ms = 1e3;

// Where the model passes the middle of its motion fastest. Time zero is where the input passes the same level.
std::optional<Figure> passage(const std::string& step, const SignalInfo& input, const SignalInfo& output,
                              const DelaySpan& span, const Stretch& stretch, const LagFit& fit,
                              const std::vector<Finding>& findings) {
  const auto& dead = finding_named(findings, "delay.dead_time");
  const auto& ramp = finding_named(findings, "delay.ramp_lag");
  const auto& model = fit.fitted_output.front();
  if (!ramp.value || model.size() < 3) return std::nullopt;
  const auto [least, most] = std::minmax_element(model.begin(), model.end());
  const double middle = 0.5 * (*least + *most);
  std::size_t at = 0;
  for (std::size_t i = 1; i + 1 < model.size(); ++i)
    if ((model[i - 1] - middle) * (model[i] - middle) <= 0.0 &&
        (at == 0 || std::abs(model[i + 1] - model[i - 1]) > std::abs(model[at + 1] - model[at - 1])))
      at = i;
  if (at == 0) return std::nullopt;
  const auto scaled = [&](std::size_t k) { return fit.model.gain * span.input.y[k] + fit.model.offset; };
  auto k = span.input.from(stretch.t[at]);
  const bool rises = model[at + 1] > model[at - 1];
  if (k >= span.input.size()) return std::nullopt;
  while (k > 0 && (scaled(k) > model[at]) == rises) --k;
  const double zero = span.input.t[k], reach = std::max(*ramp.value, 5.0);
  Figure f{"Step '" + step + "': one passage closely",
           "time after the input (ms)",
           output.name + " (" + output.unit + ")",
           {},
           {}};
  const auto add = [&](const std::string& name, const std::vector<double>& t, const auto& value) {
    std::vector<double> x, y;
    for (std::size_t i = 0; i < t.size(); ++i) {
      const double after = ms * (t[i] - zero);
      if (after < -reach || after > 2.5 * reach) continue;
      x.push_back(after);
      y.push_back(value(i));
    }
    f.curves.push_back(thinned(name, x, y));
  };
  add(input.name + ", scaled", span.input.t, scaled);
  add(output.name, span.output.t, [&](std::size_t i) { return span.output.y[i]; });
  add("model", stretch.t, [&](std::size_t i) { return model[i]; });
  f.marks.push_back({"input", 'x', 0.0, 0.0});
  add_mark(f, "dead time", 'x', dead);
  add_mark(f, "lag on a ramp", 'x', ramp);
  return f;
}

}  // namespace

std::vector<Figure> delay_figures(const std::string& step, const SignalInfo& input, const SignalInfo& output,
                                  const DelaySpan& span, const Stretch& stretch, const LagFit& fit,
                                  const std::vector<Finding>& findings) {
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
  std::vector<Figure> figures{std::move(motion)};
  if (auto close = passage(step, input, output, span, stretch, fit, findings)) figures.push_back(std::move(*close));
  figures.push_back(std::move(left));
  return figures;
}

}  // namespace trackrod
