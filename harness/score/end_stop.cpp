// The score `end_stop`: where travel ends on either side, how stiff the stop is, and what happens at it.
// docs/scores/end_stop.md.

#include <algorithm>
#include <boost/math/distributions/chi_squared.hpp>
#include <cmath>

#include "harness/score/budget.hpp"
#include "harness/score/figure.hpp"
#include "harness/score/findings.hpp"
#include "harness/score/flank.hpp"
#include "harness/score/line_fit.hpp"
#include "harness/score/scores.hpp"
#include "harness/score/scoring.hpp"
#include "harness/score/stop_contact.hpp"

namespace trackrod {
namespace {

struct EndStopSettings {
  double from{30.0}, to{80.0};  // %
  std::optional<double> torque;
  double bench_compliance{0.0}, bench_compliance_u{0.0};
  Duration quiet{from_seconds(0.1)};
};

const Fields<EndStopSettings>& end_stop_fields() {
  static const auto fields =
      Fields<EndStopSettings>{"score", "Where travel ends on either side, from runs against the stop and back"}
          .may("from", &EndStopSettings::from, quantity("%", 5.0, 80.0),
               "part of the greatest torque above which the stop counts as stiff; 30 % when not given")
          .may("to", &EndStopSettings::to, quantity("%", 20.0, 99.0),
               "part of the greatest torque up to which the stiff branch is read; 80 % when not given")
          .may("torque", &EndStopSettings::torque, maybe(number(1e-9, 1e9)),
               "a number in the output's unit, beyond that of free travel: the stop is where the torque reaches it; "
               "when "
               "not given, where the line of free travel meets that of the stiff branch")
          .may("bench_compliance", &EndStopSettings::bench_compliance, number(0.0, 1e9),
               "what of the bench bends between both sensors and the unit, in the input's unit per the output's; it is "
               "taken out; 0 when not given")
          .may("bench_compliance_u", &EndStopSettings::bench_compliance_u, number(0.0, 1e9),
               "standard uncertainty of that; 0 when not given")
          .may("quiet", &EndStopSettings::quiet, duration(from_seconds(0.01), from_seconds(60.0)),
               "length at rest at the stop over which torque and over-travel are read; 100 ms when not given");
  return fields;
}

constexpr double different_rates = 1.5;  // times the slowest: enough to see what the rate does

// The contacts on one side, and what they say of the stop together.
struct Side {
  std::vector<Contact> contacts;
  double angle{0.0};                  // at no approach rate when `over_rates`, else at the mean rate
  std::vector<Contribution> scatter;  // of `angle`
  double rate{0.0};                   // mean
  bool over_rates{false};
  double per_rate{0.0};  // s: angle counted outward, over rate
  double per_rate_noise{0.0}, degrees_of_freedom{0.0};
};

Side side_of(std::vector<Contact> contacts, bool positive) {
  Side side;
  for (auto& c : contacts)
    if (c.positive == positive) side.contacts.push_back(std::move(c));
  if (side.contacts.empty()) return side;
  std::vector<double> rates, angles, noise;
  for (const auto& c : side.contacts) {
    rates.push_back(c.rate);
    angles.push_back(c.angle.value);
    noise.push_back(std::max(c.angle.noise, 1e-12));
  }
  const auto mean = repeated(angles, noise);
  side.rate = repeated(rates, std::vector<double>(rates.size(), 0.0)).mean;
  side.angle = mean.mean;
  side.scatter = mean.budget;
  const auto [slow, fast] = std::minmax_element(rates.begin(), rates.end());
  if (rates.size() < 3 || *fast < different_rates * *slow) return side;
  // At no rate, by a straight line; what scatters more than noise explains widens both.
  const auto line = fit_line(rates, angles, noise);
  const double more = std::max(1.0, line.residual_deviation);
  side.over_rates = true;
  side.degrees_of_freedom = static_cast<double>(rates.size() - 2);
  side.angle = line.intercept;
  side.scatter = {type_a("noise and repeatability", more * line.intercept_unit, side.degrees_of_freedom)};
  side.per_rate = (positive ? 1.0 : -1.0) * line.slope;
  side.per_rate_noise = more * line.slope_unit;
  return side;
}

class Stops {
 public:
  explicit Stops(const ScoreInput& input);
  void add_to(ScoreResult& result) const;

 private:
  Finding missing(const std::string& name, const std::string& why) const;
  Frame frame_for(const Side& side) const;
  std::vector<Contribution> angle_budget(const Side& side, double sign) const;
  Finding angle(const std::string& name, const Side& side) const;
  Finding centre() const;
  Finding stiffness(const std::string& name, const Side& side) const;
  Finding approach_effect() const;
  Finding repeatability() const;
  Finding rest(const std::string& name, std::optional<Noted> Contact::*what) const;
  Finding bounce() const;
  Figure figure(const std::string& name, const Side& side) const;

  const EndStopSettings& settings_;
  const SignalInfo &in_, &out_;
  Frame frame_;
  std::size_t tried_;
  std::vector<Sweep> sweeps_;
  Side positive_, negative_;
  std::string trouble_;
};

Stops::Stops(const ScoreInput& input)
    : settings_{std::any_cast<const EndStopSettings&>(input.settings)},
      in_{input.capture.signals()[input.signal("input")]},
      out_{input.capture.signals()[input.signal("output")]},
      frame_{pair_frame(input, "end_stop", step_names(input.spans))},
      tried_{input.spans.size()} {
  const ContactRule rule{settings_.from,  settings_.to,   settings_.torque, settings_.bench_compliance,
                         settings_.quiet, in_.resolution, out_.resolution};
  std::vector<Contact> found;
  for (const auto& span : input.spans) {
    auto sweep = read_sweep(input, span);
    auto why = sweep.trouble;
    if (why.empty()) {
      auto contacts = contacts_of(sweep, rule);
      if (contacts.found.empty()) why = contacts.trouble.empty() ? "no run outward" : contacts.trouble;
      for (auto& c : contacts.found) found.push_back(std::move(c));
      sweeps_.push_back(std::move(sweep));
    }
    if (trouble_.empty()) trouble_ = why;
  }
  positive_ = side_of(found, true);
  negative_ = side_of(found, false);
}

Finding Stops::missing(const std::string& name, const std::string& why) const {
  for (const auto& kind : end_stop_score().entry.findings)
    if (kind.name == name) return frame_.missing(name, finding_unit(kind.unit, in_.unit, out_.unit), why, tried_ > 0);
  return frame_.missing(name, "1", why, tried_ > 0);
}

Frame Stops::frame_for(const Side& side) const {
  auto frame = frame_;
  frame.conditions.emplace_back("contacts", std::to_string(side.contacts.size()));
  frame.conditions.emplace_back("approach_rate",
                                side.over_rates ? "extrapolated to none" : with_unit(side.rate, in_.unit + "/s"));
  frame.conditions.emplace_back("stop", settings_.torque ? "at " + with_unit(*settings_.torque, out_.unit)
                                                         : "where free travel meets the stiff branch");
  return frame;
}

// Of one side's angle; `sign`: how it enters the finding.
std::vector<Contribution> Stops::angle_budget(const Side& side, double sign) const {
  auto budget = side.scatter;
  const double n = static_cast<double>(side.contacts.size());
  double mean_bend = 0.0, outer_squares = 0.0, squares = 0.0, torque = 0.0, compliance = 0.0;
  for (const auto& c : side.contacts) {
    outer_squares += c.outer_noise * c.outer_noise, squares += c.flank_noise * c.flank_noise;
    mean_bend += c.bend / n, torque += c.torque_at_angle / n, compliance += c.compliance.value / n;
  }
  const double bend = bend_beyond_noise(mean_bend, std::sqrt(outer_squares) / n, std::sqrt(squares) / n);
  // Half as much again for branches that do not bend evenly; none where the stop is read within the branch itself.
  const double missed = settings_.torque ? 1.0 : 1.5 * missed_by_a_line(settings_.from, settings_.to);
  budget.push_back(rectangular("stiff branch that is not straight", missed * bend));
  budget.push_back(type_b("bench compliance", settings_.bench_compliance_u * std::abs(torque)));
  // Only where the angle is read at a stated torque does an error of the torque move it.
  if (settings_.torque)
    budget.push_back(type_b("calibration of '" + out_.name + "'", compliance * out_.calibration.standard_uncertainty));
  // Torque and angle of different instants: at no rate this is nothing.
  if (!side.over_rates)
    for (auto line : time_shift_budget(in_, out_, sweeps_.front().in_half_width, sweeps_.front().out_half_width)) {
      line.standard_uncertainty *= 1e-3 * side.rate;
      budget.push_back(std::move(line));
    }
  for (auto& line : budget) line.standard_uncertainty *= std::abs(sign);
  return budget;
}

Finding Stops::angle(const std::string& name, const Side& side) const {
  if (side.contacts.empty()) return missing(name, trouble_.empty() ? "no run to this side" : trouble_);
  auto budget = angle_budget(side, 1.0);
  budget.push_back(type_b("calibration of '" + in_.name + "'", in_.calibration.standard_uncertainty));
  budget.push_back(rectangular("resolution of '" + in_.name + "'", 0.5 * in_.resolution));
  return frame_for(side).measured(name, in_.unit, side.angle, std::move(budget));
}

// Half the sum: both sides turn up the same zero; an error of time shifts them apart, and not this.
Finding Stops::centre() const {
  if (positive_.contacts.empty() || negative_.contacts.empty())
    return missing("centre", "needs the stop of either side");
  std::vector<Contribution> budget;
  for (const auto* side : {&positive_, &negative_})
    for (auto line : side->scatter) {
      line.name += side == &positive_ ? ", positive side" : ", negative side";
      line.standard_uncertainty *= 0.5;
      budget.push_back(std::move(line));
    }
  for (auto line : angle_budget(positive_, 0.5))
    if (line.name.starts_with("stiff branch")) line.name += ", positive side", budget.push_back(line);
  for (auto line : angle_budget(negative_, 0.5))
    if (line.name.starts_with("stiff branch")) line.name += ", negative side", budget.push_back(line);
  budget.push_back(type_b("calibration of '" + in_.name + "'", in_.calibration.standard_uncertainty));
  budget.push_back(rectangular("resolution of '" + in_.name + "'", 0.5 * in_.resolution));
  return frame_.measured("centre", in_.unit, 0.5 * (positive_.angle + negative_.angle), std::move(budget));
}

Finding Stops::stiffness(const std::string& name, const Side& side) const {
  if (side.contacts.empty()) return missing(name, trouble_.empty() ? "no run to this side" : trouble_);
  std::vector<double> values, noise;
  for (const auto& c : side.contacts) values.push_back(c.compliance.value), noise.push_back(c.compliance.noise);
  const auto found = repeated(values, noise);
  const double stiffness = 1.0 / found.mean, turned = stiffness * stiffness;
  auto budget = found.budget;
  for (auto& line : budget) line.standard_uncertainty *= turned;
  budget.push_back(type_b("bench compliance", turned * settings_.bench_compliance_u));
  budget.push_back(type_b("calibration of '" + out_.name + "'", stiffness * out_.calibration.gain_uncertainty));
  budget.push_back(type_b("calibration of '" + in_.name + "'", stiffness * in_.calibration.gain_uncertainty));
  return frame_for(side).measured(name, finding_unit("output/input", in_.unit, out_.unit), stiffness,
                                  std::move(budget));
}

// Mean of both sides, as far as they know it.
Finding Stops::approach_effect() const {
  std::vector<const Side*> sides;
  for (const auto* side : {&positive_, &negative_})
    if (side->over_rates) sides.push_back(side);
  if (sides.empty())
    return missing("approach_effect", "needs three contacts or more on one side, at rates of which the fastest is " +
                                          with_unit(different_rates, "times") + " the slowest");
  const double share = 1.0 / static_cast<double>(sides.size());
  double effect = 0.0;
  std::vector<Contribution> budget;
  for (const auto* side : sides) {
    effect += share * side->per_rate;
    budget.push_back(
        type_a(side == &positive_ ? "noise and repeatability, positive side" : "noise and repeatability, negative side",
               share * side->per_rate_noise, side->degrees_of_freedom));
  }
  for (auto line : time_shift_budget(in_, out_, sweeps_.front().in_half_width, sweeps_.front().out_half_width))
    budget.push_back(std::move(line));
  effect *= 1e3;
  for (auto& line : budget)
    if (line.type == 'A') line.standard_uncertainty *= 1e3;
  return frame_.measured("approach_effect", "ms", effect, std::move(budget));
}

// Standard deviation of one contact's angle about the mean of its side, both sides together; its interval by chi
// square, since that of few contacts is far from even.
Finding Stops::repeatability() const {
  double squares = 0.0, freedom = 0.0;
  for (const auto* side : {&positive_, &negative_}) {
    if (side->over_rates) return missing("repeatability", "the contacts are not at one rate");
    if (side->contacts.empty()) continue;
    double mean = 0.0;
    for (const auto& c : side->contacts) mean += c.angle.value / static_cast<double>(side->contacts.size());
    for (const auto& c : side->contacts) squares += std::pow(c.angle.value - mean, 2);
    freedom += static_cast<double>(side->contacts.size() - 1);
  }
  if (freedom < 2.0) return missing("repeatability", "needs three contacts or more on one side");
  const double s = std::sqrt(squares / freedom);
  auto finding =
      frame_.measured("repeatability", in_.unit, s, {type_a("scatter", s / std::sqrt(2.0 * freedom), freedom)});
  const boost::math::chi_squared chi{freedom};
  finding.interval = {{s * std::sqrt(freedom / boost::math::quantile(chi, 0.975)),
                       s * std::sqrt(freedom / boost::math::quantile(chi, 0.025))}};
  return finding;
}

Finding Stops::rest(const std::string& name, std::optional<Noted> Contact::*what) const {
  std::vector<double> values, noise;
  std::string why;
  for (const auto* side : {&positive_, &negative_})
    for (const auto& c : side->contacts) {
      if (const auto& noted = c.*what)
        values.push_back(noted->value), noise.push_back(noted->noise);
      else if (why.empty())
        why = c.no_rest;
    }
  if (values.empty()) return missing(name, why);
  const auto found = repeated(values, noise);
  auto budget = found.budget;
  const bool torque = name == "holding_torque";
  for (auto& line : calibration_budget(torque ? out_ : in_, found.mean)) budget.push_back(line);
  budget.push_back(rectangular("resolution", torque ? out_.resolution : in_.resolution));
  return frame_.measured(name, torque ? out_.unit : in_.unit, found.mean, std::move(budget));
}

// The greatest there was; a jump back is no mean.
Finding Stops::bounce() const {
  double greatest = 0.0;
  std::size_t count = 0, all = 0;
  for (const auto* side : {&positive_, &negative_})
    for (const auto& c : side->contacts) {
      greatest = std::max(greatest, c.bounce);
      count += c.bounce > 0.0;
      ++all;
    }
  auto frame = frame_;
  frame.conditions.emplace_back("bounced", std::to_string(count) + " of " + std::to_string(all) + " contacts");
  const double noise = sweeps_.front().in_noise / std::sqrt(5.0);
  auto finding =
      frame.measured("bounce", in_.unit, greatest,
                     {type_b("noise", noise), rectangular("what noise hides", std::max(4.0 * noise, in_.resolution)),
                      type_b("calibration of '" + in_.name + "'", in_.calibration.gain_uncertainty * greatest)});
  (*finding.interval)[0] = std::max(0.0, (*finding.interval)[0]);  // no wheel bounces by less than nothing
  return finding;
}

Figure Stops::figure(const std::string& name, const Side& side) const {
  Figure f{"Torque over angle at the " + name + " stop",
           in_.name + " (" + in_.unit + ")",
           out_.name + " (" + out_.unit + ")",
           {},
           {}};
  const double sign = side.contacts.front().positive ? 1.0 : -1.0;
  const bool both = !positive_.contacts.empty() && !negative_.contacts.empty();
  const double middle = both ? 0.5 * (positive_.angle + negative_.angle) : -sign * INFINITY;
  std::vector<double> x, y;  // one sweep after the other, with a break between
  for (const auto& sweep : sweeps_) {
    for (std::size_t i = 0; i < sweep.x.size(); ++i)
      if (sign * (sweep.x[i] - middle) > 0.0) x.push_back(sweep.x[i]), y.push_back(sweep.y[i]);
    if (!x.empty()) x.push_back(x.back()), y.push_back(std::nan(""));
  }
  f.curves.push_back(thinned("measured", x, y));
  add_mark(f, "stop", 'x', angle("angle_" + name, side));
  return f;
}

void Stops::add_to(ScoreResult& result) const {
  if (positive_.contacts.empty() && negative_.contacts.empty()) {
    const auto why = trouble_.empty() ? "no complete step to score" : trouble_;
    for (const auto& kind : end_stop_score().entry.findings) result.findings.push_back(missing(kind.name, why));
    return;
  }
  result.findings.push_back(angle("angle_positive", positive_));
  result.findings.push_back(angle("angle_negative", negative_));
  result.findings.push_back(centre());
  result.findings.push_back(stiffness("stiffness_positive", positive_));
  result.findings.push_back(stiffness("stiffness_negative", negative_));
  result.findings.push_back(approach_effect());
  result.findings.push_back(repeatability());
  result.findings.push_back(rest("holding_torque", &Contact::holding));
  result.findings.push_back(rest("over_travel", &Contact::over_travel));
  result.findings.push_back(bounce());
  if (!positive_.contacts.empty()) result.figures.push_back(figure("positive", positive_));
  if (!negative_.contacts.empty()) result.figures.push_back(figure("negative", negative_));
}

}  // namespace

ScoreKind end_stop_score() {
  ScoreKind score;
  score.entry.settings = kind("end_stop", end_stop_fields);
  score.entry.roles = {{"input", "the angle that runs against the stop, such as the bench's sensor at the hand wheel"},
                       {"output", "the torque that it meets, such as the bench's torque sensor at the hand wheel"}};
  score.entry.findings = {
      {"angle_positive", "input", "where travel ends on the side of greater angles"},
      {"angle_negative", "input", "where it ends on the other side"},
      {"centre", "input", "half the sum of both: how far the middle of travel stands from zero"},
      {"stiffness_positive", "output/input", "of the stop on the side of greater angles, bench compliance taken out"},
      {"stiffness_negative", "output/input", "of the stop on the other side"},
      {"approach_effect", "ms", "how far the stop seems to move outward, over the rate of approach"},
      {"repeatability", "input", "standard deviation of the stop's angle from contact to contact"},
      {"holding_torque", "output", "torque beyond free travel while the wheel rests at the stop"},
      {"over_travel", "input", "angle beyond the stop while the wheel rests at it"},
      {"bounce", "input", "farthest that the wheel left the stop again before it went back for good"}};
  score.run = [](const ScoreInput& input) {
    ScoreResult result;
    Stops{input}.add_to(result);
    return result;
  };
  return score;
}

}  // namespace trackrod
