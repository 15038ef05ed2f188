#include "harness/score/step_figure.hpp"

#include <tuple>

#include "harness/score/figure.hpp"

namespace trackrod {

Figure step_figure(const std::string& title, const StepCycle& cycle, const SignalInfo& input, const SignalInfo& output,
                   double latest) {
  Figure figure{title, "time after the input's 50 % (ms)", "share of the change", {}, {}};
  for (const auto& [s, first, last, name] : {std::tie(cycle.input, cycle.in_first, cycle.in_last, input.name),
                                             std::tie(cycle.output, cycle.out_first, cycle.out_last, output.name)}) {
    std::vector<double> x, y;
    for (std::size_t i = 0; i < s.size(); ++i) {
      const double after = 1e3 * (s.t[i] - cycle.zero);
      if (after > latest) break;
      x.push_back(after);
      y.push_back((s.y[i] - first.value) / (last.value - first.value));
    }
    figure.curves.push_back(thinned(name, x, y));
  }
  return figure;
}

}  // namespace trackrod
