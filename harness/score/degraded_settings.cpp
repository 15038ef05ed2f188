#include "harness/score/degraded_settings.hpp"

namespace trackrod {

const Fields<DegradedSettings>& degraded_fields() {
  const auto bounds = list(number(-1e9, 1e9), 2, 2);
  const auto values = list(number(-1e9, 1e9), 1, 100);
  const auto moment = [](double most) { return duration(Duration{0}, from_seconds(most)); };
  static const auto fields =
      Fields<DegradedSettings>{"score", "What a unit does about a fault: reaction, warning, what is left, what returns"}
          .may("healthy", &DegradedSettings::healthy, bounds,
               "lower and upper bound of the input, in its unit, within which there is no fault")
          .may("bounce", &DegradedSettings::bounce, moment(10.0),
               "healthy again for less is still the same fault; 50 ms when not given")
          .may("safe", &DegradedSettings::safe, bounds,
               "in hand is: the output stays within these bounds, in its unit, as a torque of nearly none; or")
          .may("tolerance", &DegradedSettings::tolerance, number(0.0, 1e9),
               "in hand is: the output departs from what the reference asks by no more, in its unit")
          .may("hold", &DegradedSettings::hold, moment(60.0), "for how long at least; 100 ms when not given")
          .may("settle", &DegradedSettings::settle, moment(60.0),
               "left out after a change before the motion is judged; 500 ms when not given")
          .may("right", &DegradedSettings::right, values, "values of the warning that are right for this fault")
          .may("none", &DegradedSettings::none, values, "values of the warning that warn of nothing; others are wrong")
          .may("detected", &DegradedSettings::detected, bounds, "bounds of the detection flag within which it is set")
          .may("fault_tolerant_time", &DegradedSettings::fault_tolerant_time, moment(600.0),
               "time after which the fault can become dangerous (ISO 26262: FTTI), for 'margin'")
          .may(
              "inserted", &DegradedSettings::inserted, maybe(whole_number(0, 1000000)),
              "how many faults the steps insert, so that one that did not take is noticed; 0: a warning would be false")
          .may("share", &DegradedSettings::share, quantity("%", 50.0, 99.99),
               "of all faults, that 'reaction_bound' shall hold for; 95 % when not given")
          .may("confidence", &DegradedSettings::confidence, quantity("%", 50.0, 99.99),
               "with which it shall; 95 % when not given");
  return fields;
}

}  // namespace trackrod
