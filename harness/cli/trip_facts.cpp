#include "harness/cli/trip_facts.hpp"

#include <algorithm>
#include <cmath>

#include "harness/capture/events.hpp"
#include "harness/score/figure.hpp"

namespace trackrod {
namespace {

using namespace std::chrono_literals;

constexpr Duration before = 2s, after = 2s;  // the engine looks on for as long

// What was held against which bounds when the bench tripped.
struct Watched {
  SignalIndex signal{no_signal};
  double low{-INFINITY}, high{INFINITY};
};

std::optional<Watched> watched(const Event& trip, const Bench& bench) {
  const auto of = [](const Condition& c) { return Watched{c.signal, c.low, c.high}; };
  switch (static_cast<TripCause>(trip.a)) {
    case TripCause::interlock:
      if (trip.b < bench.interlocks.size()) return of(bench.interlocks[trip.b].condition);
      return {};
    case TripCause::device_lost:
      for (std::size_t s = 0; s < bench.signals.size(); ++s)
        if (bench.signals[s].info.direction == Direction::read && bench.signals[s].device == trip.b)
          return Watched{static_cast<SignalIndex>(s)};
      return {};
    case TripCause::wait_timed_out:
    case TripCause::not_finite:
    case TripCause::load_energy:
      if (trip.b < bench.signals.size()) return Watched{static_cast<SignalIndex>(trip.b)};
      return {};
    case TripCause::fault_remains:
      if (trip.b < bench.faults.size() && bench.faults[trip.b].shows) return of(*bench.faults[trip.b].shows);
      return {};
    case TripCause::arming_failed:
    case TripCause::keeper_gone:
      return {};
  }
  return {};
}

std::optional<Figure> figure_of(const Event& trip, const Bench& bench, const CaptureView& capture) {
  const auto what = watched(trip, bench);
  if (!what) return {};
  const auto points = capture.points(what->signal, trip.when - before, trip.when + after);
  if (!points || points->empty()) return {};
  const auto& info = bench.signals[what->signal].info;
  std::vector<double> x, y;
  for (const auto& p : *points) {
    x.push_back(seconds(p.when - trip.when));
    y.push_back(p.value);
  }
  Figure f{"'" + info.name + "' about the trip", "time after the trip (s)", info.name + " (" + info.unit + ")", {}, {}};
  f.curves.push_back(thinned("measured", x, y));
  f.marks.push_back({"trip", 'x', 0.0});
  if (std::isfinite(what->low)) f.marks.push_back({"at least", 'y', what->low});
  if (std::isfinite(what->high)) f.marks.push_back({"at most", 'y', what->high});
  return f;
}

}  // namespace

std::optional<TripFacts> trip_facts(const RunRecord& record, const Loaded& loaded, const CaptureView& capture,
                                    const StreamHeader& header) {
  if (!record.tripped) return {};
  TripFacts facts;
  facts.words = record.ending;
  const auto& events = capture.events();
  const auto trip = std::ranges::find(events, EventKind::tripped, &Event::kind);
  if (trip != events.end()) {
    facts.words = event_words(*trip, header);
    facts.figure = figure_of(*trip, *loaded.bench, capture);
  }
  for (const auto& span : capture.spans()) {
    if (span.complete)
      ++facts.complete;
    else
      facts.cut = span.step;
  }
  facts.steps = loaded.timeline->step_count();
  const bool in_long_repeat = std::ranges::any_of(loaded.timeline->program(), [&](const TimelineItem& item) {
    return (item.keep || item.count == without_end) &&
           steps_inside({item}, loaded.timeline->steps()).contains(facts.cut);
  });
  if (!record.rehearsal && in_long_repeat)
    facts.go_on =
        "find the cause, prove the interlocks anew (trackrod check BENCH --shift), then: trackrod run --resume "
        "FOLDER, the folder of this run (" +
        record.id + "). It goes on with the pass after the last whole one, as a run of its own.";
  else if (!record.rehearsal && facts.complete < facts.steps)
    facts.go_on =
        "find the cause, then: trackrod run " + record.plan.front().path + " --bench " + record.bench.front().path +
        " --after FOLDER, the folder of this run (" + record.id +
        "). That is a run of its own, begins with the first step that was left, and goes into one report with "
        "this one: trackrod report FOLDER NEW-FOLDER.";
  return facts;
}

}  // namespace trackrod
