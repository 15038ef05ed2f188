// The score `frequency`: gain, phase, coherence and delay over frequency, from motions that begin and end at rest.
// docs/scores/frequency.md.

#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>

#include "harness/base/units.hpp"
#include "harness/score/figure.hpp"
#include "harness/score/findings.hpp"
#include "harness/score/response.hpp"
#include "harness/score/scores.hpp"
#include "harness/score/scoring.hpp"

namespace trackrod {
namespace {

struct FrequencySettings {
  std::vector<double> frequencies;  // Hz
  double band{20.0};                // % to either side
  Duration tail{from_seconds(0.5)};
};

const Fields<FrequencySettings>& frequency_fields() {
  static const auto fields =
      Fields<FrequencySettings>{"score", "Gain, phase and coherence of the output over the input at given frequencies"}
          .need("frequencies", &FrequencySettings::frequencies, list(quantity("Hz", 1e-3, 500.0), 1, 50),
                "where the answer is read, such as [\"0.5 Hz\", \"1 Hz\", \"2 Hz\"]")
          .may("band", &FrequencySettings::band, quantity("%", 2.0, 50.0),
               "to either side of a frequency: lines of the spectrum that are taken together; 20 % when not given")
          .may("tail", &FrequencySettings::tail, duration(from_seconds(0.1), from_seconds(60.0)),
               "time after the step in which the input rests and the output comes to rest; 500 ms when not given");
  return fields;
}

constexpr double degrees = 180.0 / std::numbers::pi;
constexpr double shortest_delay = -0.05, longest_delay = 0.5;  // s

struct AtFrequency {
  double frequency{0.0};
  Response response;
};

class StepFrequency {
 public:
  StepFrequency(const ScoreInput& input, const std::string& step, const std::vector<Span>& spans);
  void add_to(ScoreResult& result) const;

 private:
  std::optional<RestToRest> read(const Span& span);
  void find_responses(const std::vector<RestToRest>& motions);
  std::vector<Finding> findings_at(const AtFrequency& at) const;
  Finding bandwidth() const;
  std::vector<Contribution> gain_budget(const AtFrequency& at) const;
  std::vector<Figure> figures() const;
  Finding missing(const Frame& frame, const std::string& name, const std::string& why) const;

  const ScoreInput& input_;
  const FrequencySettings& settings_;
  const SignalInfo &in_, &out_;
  Frame frame_;
  std::size_t tried_{0};
  double in_span_{0.0}, out_span_{0.0}, interval_{0.0}, in_half_width_{0.0}, out_half_width_{0.0};
  std::string trouble_;
  std::vector<AtFrequency> all_;
};

StepFrequency::StepFrequency(const ScoreInput& input, const std::string& step, const std::vector<Span>& spans)
    : input_{input},
      settings_{std::any_cast<const FrequencySettings&>(input.settings)},
      in_{input.capture.signals()[input.signal("input")]},
      out_{input.capture.signals()[input.signal("output")]},
      frame_{pair_frame(input, "frequency", step)},
      tried_{spans.size()} {
  std::vector<RestToRest> motions;
  for (const auto& span : spans)
    if (auto motion = read(span)) motions.push_back(std::move(*motion));
  if (motions.empty() && trouble_.empty()) trouble_ = "no complete step to score";
  if (motions.empty()) return;
  if (motions.size() < spans.size())
    frame_.conditions.emplace_back("left_out", std::to_string(spans.size() - motions.size()) + " spans: " + trouble_);
  trouble_.clear();
  frame_.conditions.emplace_back("cycles", std::to_string(motions.size()));
  find_responses(motions);
}

std::optional<RestToRest> StepFrequency::read(const Span& span) {
  const auto to = span.to + settings_.tail;
  const auto x = read_series(input_.capture, input_.signal("input"), span.from, to, span.from);
  const auto y = read_series(input_.capture, input_.signal("output"), span.from, to, span.from);
  auto trouble = !x.trouble.empty()   ? x.trouble
                 : !y.trouble.empty() ? y.trouble
                                      : stuck(x, y, in_.name, out_.name, longest_delay);
  const double length = seconds(to - span.from), end = seconds(span.to - span.from);
  if (trouble.empty()) {
    const auto low_high = std::minmax_element(x.y.begin() + static_cast<std::ptrdiff_t>(x.from(end + 0.1)), x.y.end());
    if (low_high.first == x.y.end())
      trouble = "the recording ends with the step: let a hold follow it";
    else if (*low_high.second - *low_high.first > std::max(0.02 * x.span(), 10.0 * x.noise))
      trouble = "'" + in_.name + "' moves again within the " + shown(seconds(settings_.tail), 3) +
                " s after the step: let a hold follow it, or shorten \"tail\"";
  }
  if (!trouble.empty()) {
    if (trouble_.empty()) trouble_ = trouble;
    return std::nullopt;
  }
  in_span_ = std::max(in_span_, x.span());
  out_span_ = std::max(out_span_, y.span());
  interval_ = std::max({interval_, x.interval, y.interval});
  in_half_width_ = x.stamp_half_width;
  out_half_width_ = y.stamp_half_width;
  return RestToRest{x, y, length};
}

void StepFrequency::find_responses(const std::vector<RestToRest>& motions) {
  const double wide = 1.0 + 0.01 * settings_.band;
  std::vector<std::vector<SpectrumLine>> bands, wider;
  std::vector<SpectrumLine> every;
  auto frequencies = settings_.frequencies;
  std::sort(frequencies.begin(), frequencies.end());
  for (const double f : frequencies) {
    auto &band = bands.emplace_back(), &outer = wider.emplace_back();
    for (const auto& motion : motions)
      for (const auto& line : motion.lines(f / (wide * wide), f * wide * wide)) {
        outer.push_back(line);
        if (line.frequency >= f / wide && line.frequency <= f * wide) band.push_back(line);
      }
    every.insert(every.end(), band.begin(), band.end());
  }
  const double delay = delay_between(every, shortest_delay, longest_delay);
  for (std::size_t i = 0; i < bands.size(); ++i)
    all_.push_back({frequencies[i], response_at(bands[i], wider[i], frequencies[i], delay)});
}

std::vector<Contribution> StepFrequency::gain_budget(const AtFrequency& at) const {
  const auto& r = at.response;
  const double gain = std::abs(r.value);
  // What a straight line between samples makes of a sine: (2 pi f interval)^2 / 12 at the most.
  const double sampling = std::pow(2.0 * std::numbers::pi * at.frequency * interval_, 2) / 12.0;
  std::vector<Contribution> budget{type_a("noise", r.noise, r.degrees_of_freedom),
                                   rectangular("noise of the input", gain * 0.5 * r.input_noise),
                                   rectangular("time between samples", gain * sampling)};
  for (auto& line : calibration_budget(in_, in_span_, gain / in_span_)) budget.push_back(line);
  for (auto& line : calibration_budget(out_, out_span_, gain / out_span_)) budget.push_back(line);
  return budget;
}

Finding StepFrequency::missing(const Frame& frame, const std::string& name, const std::string& why) const {
  for (const auto& kind : frequency_score().entry.findings)
    if (kind.name == name) return frame.missing(name, finding_unit(kind.unit, in_.unit, out_.unit), why, tried_ > 0);
  return frame.missing(name, "1", why, tried_ > 0);
}

std::vector<Finding> StepFrequency::findings_at(const AtFrequency& at) const {
  auto frame = frame_;
  frame.conditions.emplace_back("frequency", with_unit(at.frequency, "Hz"));
  const auto& r = at.response;
  std::vector<Finding> findings;
  if (!r.trouble.empty()) {
    for (const auto* name : {"gain", "phase", "coherence", "group_delay"})
      findings.push_back(missing(frame, name, r.trouble));
    return findings;
  }
  frame.conditions.emplace_back("lines", std::to_string(r.lines));
  const double gain = std::abs(r.value), n = static_cast<double>(r.lines);
  findings.push_back(frame.measured("gain", finding_unit("output/input", in_.unit, out_.unit), gain, gain_budget(at)));
  const auto shift = time_shift_budget(in_, out_, in_half_width_, out_half_width_);
  std::vector<Contribution> phase{type_a("noise", degrees * r.noise / gain, r.degrees_of_freedom)};
  for (auto line : shift) {
    line.standard_uncertainty *= 0.36 * at.frequency;  // ms to degrees
    phase.push_back(line);
  }
  findings.push_back(frame.measured("phase", "deg", degrees * r.phase, std::move(phase)));
  // Bendat and Piersol, "Random Data", of an estimate from n lines; from memory.
  findings.push_back(frame.measured(
      "coherence", "1", r.coherence,
      {type_a("number of lines", std::sqrt(2.0 * r.coherence / n) * (1.0 - r.coherence), r.degrees_of_freedom)}));
  std::vector<Contribution> delay{type_a("noise", 1e3 * r.group_noise, r.degrees_of_freedom),
                                  rectangular("phase that bends in the band", 1e3 * r.group_bend)};
  delay.insert(delay.end(), shift.begin(), shift.end());
  findings.push_back(frame.measured("group_delay", "ms", 1e3 * r.group_delay, std::move(delay)));
  return findings;
}

// Between two neighbours the gain goes in a straight line over the frequency, both as logarithms; how far from it the
// gain may bend is taken from their neighbours.
Finding StepFrequency::bandwidth() const {
  std::vector<const AtFrequency*> known;
  for (const auto& at : all_)
    if (at.response.trouble.empty()) known.push_back(&at);
  if (known.size() < 2) return missing(frame_, "bandwidth", "needs the gain at two frequencies or more");
  const auto log_gain = [&](std::size_t i) { return std::log(std::abs(known[i]->response.value)); };
  const auto log_frequency = [&](std::size_t i) { return std::log(known[i]->frequency); };
  const double wanted = log_gain(0) - 0.5 * std::numbers::ln2;
  std::size_t k = 1;
  while (k < known.size() && log_gain(k) > wanted) ++k;
  if (k == known.size())
    return missing(frame_, "bandwidth",
                   "at " + with_unit(known.back()->frequency, "Hz") + " the gain has fallen by " +
                       shown((log_gain(0) - log_gain(k - 1)) * 20.0 / std::numbers::ln10, 3) +
                       " dB, not yet by 3 dB: ask for higher frequencies");
  const double slope = (log_gain(k) - log_gain(k - 1)) / (log_frequency(k) - log_frequency(k - 1));
  const double part = (wanted - log_gain(k - 1)) / (log_gain(k) - log_gain(k - 1));
  const double frequency = std::exp(log_frequency(k - 1) + (wanted - log_gain(k - 1)) / slope);
  double bend = 0.0;  // second difference of the gain about the crossing
  for (std::size_t i = std::max<std::size_t>(k, 2) - 1; i <= k && i + 1 < known.size(); ++i)
    bend = std::max(bend, std::abs(log_gain(i + 1) - 2.0 * log_gain(i) + log_gain(i - 1)));
  const double by = frequency / std::abs(slope);
  const auto share = [&](std::size_t i, double weight, const char* name) {
    const auto& r = known[i]->response;
    return type_a(name + (" at " + with_unit(known[i]->frequency, "Hz")), by * weight * r.noise / std::abs(r.value),
                  r.degrees_of_freedom);
  };
  auto frame = frame_;
  frame.conditions.emplace_back("of_gain_at", with_unit(known.front()->frequency, "Hz"));
  return frame.measured("bandwidth", "Hz", frequency,
                        {share(0, 1.0, "reference"), share(k - 1, 1.0 - part, "noise"), share(k, part, "noise"),
                         rectangular("between the frequencies", by * bend / 8.0)});
}

std::vector<Figure> StepFrequency::figures() const {
  Figure gain{"Gain over frequency, " + frame_.step,
              "frequency (Hz)",
              "gain (" + finding_unit("output/input", in_.unit, out_.unit) + ")",
              {},
              {}};
  gain.x_log = gain.y_log = true;
  Figure phase{"Phase over frequency, " + frame_.step, "frequency (Hz)", "phase (deg)", {}, {}};
  phase.x_log = true;
  Curve gains{"measured", {}, {}, Curve::Style::points}, phases = gains;
  for (const auto& at : all_) {
    if (!at.response.trouble.empty()) continue;
    const auto findings = findings_at(at);
    add_finding(gains, at.frequency, finding_named(findings, "frequency.gain"));
    add_finding(phases, at.frequency, finding_named(findings, "frequency.phase"));
  }
  if (gains.x.size() < 2) return {};
  gain.curves = {gains};
  phase.curves = {phases};
  add_mark(gain, "bandwidth", 'x', bandwidth());
  return {gain, phase};
}

void StepFrequency::add_to(ScoreResult& result) const {
  if (!trouble_.empty()) {
    for (const auto& kind : frequency_score().entry.findings)
      result.findings.push_back(missing(frame_, kind.name, trouble_));
    return;
  }
  for (const auto& at : all_)
    for (auto& finding : findings_at(at)) result.findings.push_back(std::move(finding));
  result.findings.push_back(bandwidth());
  for (auto& figure : figures()) result.figures.push_back(std::move(figure));
}

ScoreResult run_frequency(const ScoreInput& input) {
  ScoreResult result;
  for (const auto& [step, spans] : by_step(input.spans)) StepFrequency{input, step, spans}.add_to(result);
  if (input.spans.empty()) StepFrequency{input, "", {}}.add_to(result);
  return result;
}

}  // namespace

ScoreKind frequency_score() {
  ScoreKind score;
  score.entry.settings = kind("frequency", frequency_fields);
  score.entry.roles = {{"input", "what is moved from rest to rest through the frequencies, as by a chirp"},
                       {"output", "what answers"}};
  score.entry.findings = {
      {"gain", "output/input", "size of the answer over that of the motion; one for each frequency"},
      {"phase", "deg", "negative when the output lags; one for each frequency"},
      {"coherence", "1", "share of the output's power that follows the input; one for each frequency"},
      {"group_delay", "ms", "by how much later a packet of waves comes out; one for each frequency"},
      {"bandwidth", "Hz", "where the gain is 3 dB below that of the lowest frequency"}};
  score.run = run_frequency;
  return score;
}

}  // namespace trackrod
