// pulse: the load model's vehicle drives over a pothole or the edge of a slab.

#include "harness/load/rack_force.hpp"
#include "harness/plan/drafting.hpp"

namespace trackrod {
namespace {

struct Pulse {
  double length{0.0};                   // m
  std::optional<double> force, height;  // N, m
  Duration time{};
};

const Fields<Pulse>& pulse_fields() {
  static const auto fields =
      Fields<Pulse>{"a pulse of the road",
                    "Adds a pulse to the force at the rack, as of a pothole; it lasts as the speed makes it"}
          .need("length", &Pulse::length, quantity("m", 0.01, 100.0), "of road that it takes, e.g. 0.4 m")
          .may("force", &Pulse::force, maybe(quantity("N", -1e5, 1e5)),
               "greatest force at the vehicle's rack, positive to the left")
          .may("height", &Pulse::height, maybe(quantity("m", -1.0, 1.0)), "instead: height under one wheel, e.g. 40 mm")
          .need("for", &Pulse::time, duration(shortest_time, longest_time), "how long the element takes");
  return fields;
}

std::optional<Movement> move_pulse(const Pulse& pulse, Drafting& draft) {
  if (!draft.grip()) return {};
  if (pulse.force.has_value() == pulse.height.has_value()) {
    draft.problems().add(draft.at(), pulse.force ? "'height' beside 'force'" : "a pulse without 'force' or 'height'",
                         "just one of them");
    return {};
  }
  const double force = pulse.force ? *pulse.force : pulse_force(draft.bench().load->vehicle, *pulse.height);
  Movement movement{{}, seconds(pulse.time)};
  movement.pulses.push_back({{}, force, pulse.length});
  return movement;
}

}  // namespace

StimulusKind pulse_stimulus() { return stimulus("pulse", pulse_fields, move_pulse); }

}  // namespace trackrod
