#pragma once
// Scores turn spans of a capture into findings with uncertainty, and figures that show what was measured.
// Pure: no file, no clock, no device. A new score is one file and one line in score_table().

#include <any>
#include <array>
#include <functional>
#include <limits>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

#include "harness/base/catalogue.hpp"
#include "harness/capture/view.hpp"

namespace trackrod {

// One line of an uncertainty budget.
struct Contribution {
  std::string name;                  // "sensor calibration", "noise", ...
  double standard_uncertainty{0.0};  // as it acts on the finding, in the finding's unit
  double degrees_of_freedom{std::numeric_limits<double>::infinity()};
  char type{'B'};                      // 'A' from statistics of this run, 'B' otherwise (JCGM 100, 2.3)
  std::string distribution{"normal"};  // or "rectangular"
  std::string group;  // not empty: contributions of one group are fully correlated, their signed values add
};

// Of a finding without a value: `inconclusive` when the score was run in vain, `not_run` when there was no complete
// step.
// `invalid`: the run says nothing of the unit, whatever its values.
enum class Verdict { pass, fail, inconclusive, not_run, invalid };
std::string verdict_name(Verdict verdict);

struct Limit {
  enum class Kind { at_most, at_least, within } kind{Kind::at_most};
  double low{0.0}, high{0.0};
};

// Names as other programs read them from findings.json. A value that does not exist is empty and has a reason.
struct Finding {
  std::string name;  // "delay.dead_time"
  std::string step;
  std::vector<std::string> signals;
  std::vector<std::pair<std::string, std::string>>
      conditions;  // "vehicle.speed" -> "40.0 km/h"; "hand_wheel" -> "position"
  std::optional<double> value;
  std::string unit;
  std::optional<double> standard_uncertainty;
  std::optional<std::array<double, 2>> interval;
  double coverage{0.95};
  std::optional<Limit> limit;
  std::string rule;
  std::string requirement;
  Verdict verdict{Verdict::not_run};
  bool judged{false};  // false: reported without a limit, no verdict
  std::string reason;
  std::vector<Contribution> budget;
};

// A picture in plain numbers; the report draws it and knows no score.
struct Curve {
  std::string label;
  std::vector<double> x, y;  // decimated so that no extreme is lost; NaN breaks the line
  enum class Style { line, points, bars } style{Style::line};
  std::vector<double> low{}, high{};  // of an interval around each y, NaN for one without; empty: none at all
};
struct Mark {
  std::string label;
  char axis{'x'};  // a line at x = value, or at y = value
  double value{0.0};
  double half_width{0.0};  // of an interval around it; 0 = none
};
struct Figure {
  std::string title, x_label, y_label;
  std::vector<Curve> curves;
  std::vector<Mark> marks;
  bool y_log{false}, x_log{false};  // in decades; what is not positive is not drawn
};

// What a score that follows a finding has of one cycle.
struct CycleValue {
  std::uint32_t cycle{0};
  std::optional<double> value;
  std::string unit;
  std::optional<double> covariate;  // the mean of a second cause, where one is named
  std::string why;                  // there is no value
  bool good{true};                  // it has one, and one that it may have
};

struct ScoreInput {
  const CaptureView& capture;
  std::vector<Span> spans;                                   // of the steps asked for, complete ones
  std::vector<std::pair<std::string, SignalIndex>> signals;  // role -> signal
  const std::any& settings;
  // What of_cycle() gave while the run went on, in order; their spans may be gone.
  std::span<const CycleValue> cycles{};
  SignalIndex signal(const std::string& role) const;
};

struct ScoreResult {
  std::vector<Finding> findings;
  std::vector<Figure> figures;
};

struct ScoreKind {
  ScoreEntry entry;
  std::function<ScoreResult(const ScoreInput&)> run;
  // Of a score that takes its spans cycle by cycle: what one cycle, the spans of the input, gives.
  std::function<CycleValue(const ScoreInput&, std::uint32_t cycle)> of_cycle{};
};
// Every score there is.
const std::vector<ScoreKind>& score_table();

}  // namespace trackrod
