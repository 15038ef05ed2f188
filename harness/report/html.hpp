#pragma once
// report.html: one file, no script, no outside host, made to be printed and signed. Pure: same report, same bytes; it
// asks neither a clock nor the machine that renders it.

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "harness/capture/view.hpp"
#include "harness/report/matrix.hpp"
#include "harness/score/score.hpp"

namespace trackrod {

using Facts = std::vector<std::pair<std::string, std::string>>;  // what -> value, in the order to show

struct EventLine {
  Duration at{};  // since the run began
  std::string words;
};

// A piece of the bench's equipment; `due` is when its calibration lapses, empty when it has none.
struct EquipmentLine {
  std::string name, what, serial, due, certificate;
};

// What a reader must know of a run beside its numbers. Empty texts are shown as "not recorded".
// What ended a run too early, and what it leaves.
struct TripFacts {
  std::string words;                  // what broke first
  std::optional<Figure> figure;       // of the value that broke, about that instant
  std::size_t complete{0}, steps{0};  // steps that were completed and stay valid, of all that were to run
  std::string cut;                    // the step that was cut short; empty: between two
  std::string go_on;                  // how to go on; empty: not from here
};

struct RunFacts {
  std::string run;  // its identifier
  std::string plan, plan_file, plan_description;
  std::string bench, bench_file;
  std::string unit, unit_serial, unit_description;
  std::string technician;
  std::string started;  // wall clock; starts with an ISO 8601 date, by which calibrations lapse
  Duration duration{};
  std::string ending;  // in words
  bool ended_as_planned{true};
  std::string after;              // run that it goes on from, and its first step, in words; empty: none
  std::optional<TripFacts> trip;  // only of a run that tripped
  bool rehearsal{false};          // virtual time and a simulated unit: the report says so at its top
  std::string software;           // name and version of what recorded and of what scored
  Facts host;                     // scheduling, locked memory, kernel, clock: what bears on timing
  Facts clamped;                  // part of the unit, and how it was held
  std::vector<EquipmentLine> equipment;
  Facts measures;                       // figures of the rig, each with what it is and its uncertainty
  Facts wires;                          // wire, and what a relay does to it
  Facts identities;                     // device, and a line of what it said of itself during the run
  Facts faults_before, faults_after;    // device, and an entry of its fault memory before and after the steps
  std::vector<std::string> invalid;     // why the run says nothing of the unit; mostly empty
  Facts hashes;                         // "bench.json" -> "sha256:..."
  std::vector<std::string> deviations;  // from the plan or from normal use, and notes
  std::vector<std::string> cautions;    // what to bear in mind when reading; more are found by write_html itself
  std::vector<EventLine> events;
};

struct Report {
  RunFacts facts;
  SignOff sign_off;               // of a plan with grids; else empty
  std::vector<Finding> findings;  // beside the matrices
  std::vector<Figure> figures;    // likewise
  std::vector<SignalInfo> signals;
  TimingQuality timing;
  std::vector<Gap> gaps;
  BenchTime begin{};  // of the capture; gaps are told from here
};

std::string write_html(const Report& report);

}  // namespace trackrod
