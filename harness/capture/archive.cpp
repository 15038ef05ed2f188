#include "harness/capture/archive.hpp"

#include <unistd.h>

#include <set>

#include "harness/capture/archive_layout.hpp"

namespace trackrod {
namespace {

using namespace archive;
using hdf5::Column;
using hdf5::Handle;
using hdf5::Hdf5Error;

std::int64_t ns(BenchTime t) { return t.time_since_epoch().count(); }

constexpr const char* meaning =
    "One group a signal under /signals. t_ns: when the value held, in nanoseconds on the bench clock (CLOCK_MONOTONIC; "
    "clock_bench_ns and "
    "clock_wall_ns were read together, wall in nanoseconds since 1970-01-01 UTC). value: in the group's unit, "
    "calibrated; NaN: no value. "
    "stamp_by: who took the stamp, 0 device, 1 kernel, 2 harness. stamp_uncertainty_ns: half-width of the stamp. Rows "
    "are in order of arrival.";

// Names are words, but a file must not break when one is not: a slash would begin another group.
std::string group_name(const std::string& name, std::set<std::string>& taken) {
  auto safe = name.empty() || name[0] == '.' ? "_" + name : name;
  for (auto& c : safe)
    if (c == '/' || c == '\0') c = '_';
  while (!taken.insert(safe).second) safe += "_";
  return safe;
}

void describe(const Handle& group, const SignalInfo& s, std::size_t index) {
  using hdf5::write_attribute;
  write_attribute(group, "name", s.name);
  write_attribute(group, "index", static_cast<std::int64_t>(index));
  write_attribute(group, "unit", s.unit);
  write_attribute(group, "direction", std::string{s.direction == Direction::drive ? "drive" : "read"});
  write_attribute(group, "device", s.device);
  write_attribute(group, "location", s.location);
  write_attribute(group, "positive", s.positive);
  write_attribute(group, "bench_owned", std::int64_t{s.bench_owned});
  write_attribute(group, "resolution", s.resolution);
  write_attribute(group, "resolution_offset", s.resolution_offset);
  write_attribute(group, "range_low", s.range_low);
  write_attribute(group, "range_high", s.range_high);
  write_attribute(group, "max_slew", s.max_slew);
  write_attribute(group, "delay_ns", std::int64_t{s.delay.count()});
  write_attribute(group, "delay_uncertainty_ns", std::int64_t{s.delay_uncertainty.count()});
  write_attribute(group, "skew_against", s.skew.against);
  write_attribute(group, "skew_ns", std::int64_t{s.skew.value.count()});
  write_attribute(group, "skew_uncertainty_ns", std::int64_t{s.skew.uncertainty.count()});
  write_attribute(group, "skew_date", s.skew.date);
  write_attribute(group, "skew_due", s.skew.due);
  write_attribute(group, "skew_used", s.skew.used);
  write_attribute(group, "clock_asymmetry_ns", std::int64_t{s.clock_asymmetry.count()});
  write_attribute(group, "clock", s.clock);
  write_attribute(group, "calibration_gain", s.calibration.gain);
  write_attribute(group, "calibration_offset", s.calibration.offset);
  write_attribute(group, "calibration_standard_uncertainty", s.calibration.standard_uncertainty);
  write_attribute(group, "calibration_gain_uncertainty", s.calibration.gain_uncertainty);
  write_attribute(group, "calibration_date", s.calibration.date);
  write_attribute(group, "calibration_due", s.calibration.due);
  write_attribute(group, "calibration_certificate", s.calibration.certificate);
}

template <class T, class Row, class Get>
void write_column(const Handle& group, const std::string& name, T fill, const std::vector<Row>& rows, Get get) {
  std::vector<T> values;
  values.reserve(rows.size());
  for (const auto& r : rows) values.push_back(static_cast<T>(get(r)));
  Column::create(group, name, fill).append(values);
}

template <class Row, class Get>
void write_texts(const Handle& group, const std::string& name, const std::vector<Row>& rows, Get get) {
  std::vector<std::string> texts;
  texts.reserve(rows.size());
  for (const auto& r : rows) texts.push_back(get(r));
  Column::create_texts(group, name, texts);
}

void write_events(const Handle& file, const CaptureView& journal) {
  const auto events = hdf5::create_group(file, "events");
  write_column(events, "when_ns", no_time, journal.events(), [](const Event& e) { return ns(e.when); });
  write_column(events, "kind", std::uint16_t{0xFFFF}, journal.events(), [](const Event& e) { return e.kind; });
  write_texts(events, "name", journal.events(), [](const Event& e) { return event_kind_name(e.kind); });
  write_column(events, "value", std::numeric_limits<double>::quiet_NaN(), journal.events(),
               [](const Event& e) { return e.value; });
  write_column(events, "a", no_number, journal.events(), [](const Event& e) { return e.a; });
  write_column(events, "b", no_number, journal.events(), [](const Event& e) { return e.b; });

  const auto spans = hdf5::create_group(file, "spans");
  write_texts(spans, "step", journal.spans(), [](const Span& s) { return s.step; });
  write_column(spans, "cycle", no_number, journal.spans(), [](const Span& s) { return s.cycle; });
  write_column(spans, "from_ns", no_time, journal.spans(), [](const Span& s) { return ns(s.from); });
  write_column(spans, "to_ns", no_time, journal.spans(), [](const Span& s) { return ns(s.to); });
  write_column(spans, "complete", no_source, journal.spans(), [](const Span& s) { return s.complete; });
  write_column(spans, "kept", no_source, journal.spans(), [](const Span& s) { return s.kept; });

  const auto& left_out = journal.left_out();
  const auto out = hdf5::create_group(file, "left_out");
  write_column(out, "from_ns", no_time, left_out, [](const LeftOut& l) { return ns(l.from); });
  write_column(out, "to_ns", no_time, left_out, [](const LeftOut& l) { return ns(l.to); });
  write_column(out, "samples", std::uint64_t{0}, left_out, [](const LeftOut& l) { return l.samples; });
  write_column(out, "ticks", std::uint64_t{0}, left_out, [](const LeftOut& l) { return l.ticks; });
  write_column(out, "missed", std::uint64_t{0}, left_out, [](const LeftOut& l) { return l.missed; });
  write_column(out, "first_tick", no_number, left_out, [](const LeftOut& l) { return l.first_tick; });
  write_column(out, "last_tick", no_number, left_out, [](const LeftOut& l) { return l.last_tick; });
  write_column(out, "late_max_ns", std::int64_t{0}, left_out, [](const LeftOut& l) { return l.late_max.count(); });
  write_column(out, "work_max_ns", std::int64_t{0}, left_out, [](const LeftOut& l) { return l.work_max.count(); });
  write_column(out, "input_age_max_ns", std::int64_t{0}, left_out,
               [](const LeftOut& l) { return l.input_age_max.count(); });

  const auto gaps = hdf5::create_group(file, "gaps");
  write_column(gaps, "from_ns", no_time, journal.gaps(), [](const Gap& g) { return ns(g.from); });
  write_column(gaps, "to_ns", no_time, journal.gaps(), [](const Gap& g) { return ns(g.to); });
  write_column(gaps, "count", std::uint64_t{0}, journal.gaps(), [](const Gap& g) { return g.count; });
  write_texts(gaps, "why", journal.gaps(), [](const Gap& g) { return g.why; });

  const auto notes = hdf5::create_group(file, "notes");
  write_column(notes, "when_ns", no_time, journal.notes(), [](const Note& n) { return ns(n.when); });
  write_column(notes, "device", no_number, journal.notes(), [](const Note& n) { return n.device; });
  write_texts(notes, "text", journal.notes(), [](const Note& n) { return n.text; });
}

void write_root(const Handle& file, const JournalCapture& journal) {
  const auto& h = journal.header();
  hdf5::write_attribute(file, "format", std::string{format});
  hdf5::write_attribute(file, "format_version", version);
  hdf5::write_attribute(file, "meaning", std::string{meaning});
  hdf5::write_attribute(file, "run", h.run_id);
  hdf5::write_attribute(file, "config_hash", h.config_hash);
  hdf5::write_attribute(file, "tick_ns", std::int64_t{h.tick.count()});
  hdf5::write_attribute(file, "clock_bench_ns", ns(h.clock.bench));
  hdf5::write_attribute(file, "clock_wall_ns", h.clock.wall_ns);
  hdf5::write_attribute(file, "begin_ns", ns(journal.begin()));
  hdf5::write_attribute(file, "end_ns", ns(journal.end()));
  hdf5::write_attribute(file, "ended", journal.ended() ? journal.ended()->why : "cut off: the journal has no end");
  // A dataset, because an attribute holds at most 64 KiB.
  hdf5::write_text(file, "stream_header", to_json(h));
}

void write_samples(const Handle& file, const JournalCapture& journal) {
  const auto signals = hdf5::create_group(file, "signals");
  std::vector<SignalColumns> columns;
  std::vector<SampleRows> rows(journal.signals().size());
  std::set<std::string> taken;
  for (std::size_t i = 0; i < journal.signals().size(); ++i) {
    const auto group = hdf5::create_group(signals, group_name(journal.signals()[i].name, taken));
    describe(group, journal.signals()[i], i);
    columns.push_back(SignalColumns::create(group));
  }
  const auto ticks = hdf5::create_group(file, "ticks");
  hdf5::write_attribute(ticks, "missed", static_cast<std::int64_t>(journal.timing().missed));
  auto tick_columns = TickColumns::create(ticks);
  TickRows tick_rows;
  const auto visited = journal.visit({each_sample([&](const Sample& s) {
                                        if (s.signal >= rows.size())
                                          throw Hdf5Error{"a sample of a signal that the header lacks"};
                                        rows[s.signal].add(s);
                                        if (rows[s.signal].size() == Column::chunk_rows)
                                          rows[s.signal].append_to(columns[s.signal]);
                                      }),
                                      [&](auto ticks_of_block) {
                                        for (const auto& t : ticks_of_block) {
                                          tick_rows.add(t);
                                          if (tick_rows.size() == Column::chunk_rows) tick_rows.append_to(tick_columns);
                                        }
                                      }});
  if (!visited) throw Hdf5Error{visited.error().context};
  for (std::size_t i = 0; i < rows.size(); ++i) rows[i].append_to(columns[i]);
  tick_rows.append_to(tick_columns);
}

}  // namespace

Result<void> write_archive(const JournalCapture& journal, const std::string& path) {
  const hdf5::Quiet quiet;
  const auto part = path + ".part";
  try {
    auto file = hdf5::create_file(part);
    write_root(file, journal);
    write_samples(file, journal);
    write_events(file, journal);
    hdf5::need(H5Fflush(file.get(), H5F_SCOPE_GLOBAL), "writing the file");
    file.close("closing the file");
    compare(part, journal);
  } catch (const Hdf5Error& e) {
    unlink(part.c_str());
    return fail(Fault::storage, "the archive '" + path + "' could not be made: " + e.what() +
                                    "; the journal is untouched: check the free space and make the archive again");
  }
  return sync_and_rename(part, path);
}

}  // namespace trackrod
