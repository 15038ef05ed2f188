#pragma once
// One run against a stop and back, read off: where free travel ends, how stiff the stop is, what happens at it.

#include <optional>
#include <string>
#include <vector>

#include "harness/base/time.hpp"
#include "harness/score/loop.hpp"

namespace trackrod {

struct ContactRule {
  double from{30.0}, to{80.0};        // %, of the greatest torque: the stiff branch
  std::optional<double> torque;       // output unit, positive: the stop is where the torque reaches this
  double bench_compliance{0.0};       // input unit per output unit: what of the bench bends between both sensors
  Duration quiet{from_seconds(0.1)};  // at rest at the stop
  double in_resolution{0.0}, out_resolution{0.0};
};

// A value with what noise leaves open of it.
struct Noted {
  double value{0.0};
  double noise{0.0};  // standard uncertainty
};

struct Contact {
  bool positive{true};                        // on the side of greater input
  double rate{0.0};                           // input unit/s, positive, of free travel just before contact
  Noted angle;                                // input unit, signed, bench compliance taken out
  double torque_at_angle{0.0};                // output unit, where `angle` is read
  double bend{0.0};                           // of `angle`, when only the outer half of the stiff branch is read
  double outer_noise{0.0}, flank_noise{0.0};  // standard uncertainties of the two that `bend` is the difference of
  Noted compliance;                           // input unit per output unit, the stop's own, positive
  double bounce{0.0};  // input unit: how far it leaves the stop again before it is left for good; 0: not at all
  std::optional<Noted> holding;      // output unit beyond free travel, outward positive; at rest at the stop
  std::optional<Noted> over_travel;  // input unit beyond `angle`, at rest at the stop
  std::string no_rest;               // why the last two are missing
};

// Every contact of a sweep that shows one: the torque rises well beyond what free travel takes. `trouble` tells why a
// run outward shows none.
struct Contacts {
  std::vector<Contact> found;
  std::string trouble;
};
Contacts contacts_of(const Sweep& sweep, const ContactRule& rule);

}  // namespace trackrod
