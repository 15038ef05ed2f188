#include "harness/recording/description.hpp"

#include <algorithm>
#include <cmath>

#include "drivers/protocol/protocol.hpp"
#include "harness/bench/draft.hpp"
#include "harness/recording/written_description.hpp"

namespace trackrod {
namespace {

class Resolver {
 public:
  explicit Resolver(Problems& problems) : problems_{problems} {}

  void common(const written::Description& w, ImportDescription& out) {
    out.name = w.name.value;
    out.description = w.description;
    out.unit_name = w.unit.name;
    out.unit_serial = w.unit.serial;
    out.gap = w.gap;
    out.stamp_half_width = w.stamp_uncertainty;
    out.leaves_out_bad_rows = w.leaves_out;
  }

  void csv(const written::CsvDescription& w, ImportDescription& out) {
    CsvForm form;
    form.separator = w.separator;
    form.decimal = w.decimal.value;
    if (form.separator == form.decimal)
      problems_.add(w.decimal.at, "the decimal sign is the separator too", "two different signs",
                    "where a comma is the decimal sign the separator is mostly \"semicolon\"");
    form.lines_above = w.lines_above;
    form.heads = w.heads;
    if (w.no_value) form.no_value = *w.no_value;
    time(w.time, form);
    need_signals(w.signals.value.size(), w.signals.at);
    for (const auto& [name, signal] : w.signals.value) {
      add_signal(name, signal, "recording", out);
      form.columns.push_back(signal.column);
      if (!form.heads && signal.column.number == 0 && signal.column.at.line > 0) no_heads(signal.column);
    }
    if (!form.heads && form.time && form.time->number == 0) no_heads(*form.time);
    out.form = std::move(form);
  }

  void candump(const written::CandumpDescription& w, ImportDescription& out) {
    CandumpForm form;
    form.deltas = w.deltas;
    form.interface = w.interface;
    std::vector<std::vector<FieldInfo>> fields;
    const auto* frames = std::find_if(protocol_table().data(), protocol_table().data() + protocol_table().size(),
                                      [](const auto& p) { return p.entry.settings.name == "frames"; });
    for (const auto& [name, chosen] : w.frames.value) {
      fields.emplace_back();
      const auto* settings = std::any_cast<FramesSettings>(&chosen.value);
      form.devices.push_back({name.value, settings != nullptr ? *settings : FramesSettings{}});
      if (settings == nullptr) continue;
      fields.back() = frames->entry.fields(chosen.value, problems_);
      frames->entry.over(chosen.value, Carries::can_frames, chosen.at, problems_);
    }
    if (form.devices.empty() && w.frames.at.line > 0)
      problems_.add(w.frames.at, "no frames", "the frames of at least one device");
    need_signals(w.signals.value.size(), w.signals.at);
    for (const auto& [name, signal] : w.signals.value) {
      auto& spec = add_signal(name, signal, "recording", out);
      spec.field = signal.field.value;
      if (const auto device = find_device(name, signal, form)) {
        spec.device = *device;
        spec.info.device = form.devices[*device].name;
        take_field(signal, fields[*device], spec);
      }
    }
    out.form = std::move(form);
  }

 private:
  void need_signals(std::size_t count, const Where& at) {
    if (count == 0 && at.line > 0) problems_.add(at, "no signals", "at least one signal");
    if (count >= no_signal) problems_.add(at, "too many signals", "at most " + std::to_string(no_signal));
  }

  void no_heads(const ColumnRef& column) {
    problems_.add(column.at, "the column '" + column.name + "' by name, in a table without heads",
                  "its number, from 1 on", "or is \"heads\": false wrong?");
  }

  void time(const Located<written::CsvTime>& located, CsvForm& form) {
    const auto& w = located.value;
    if (located.at.line == 0) return;  // its absence is told
    if (w.column.has_value() == w.every.has_value()) {
      problems_.add(located.at, w.column ? "both 'column' and 'every'" : "neither 'column' nor 'every'",
                    "the column of the times; or, where there is none, the time from row to row");
      return;
    }
    form.time = w.column;
    if (w.every) form.every = w.every->value;
    if (w.form) form.time_form = w.form->value;
    if (w.every && w.form) problems_.add(w.form->at, "'form' without a column", "it with 'column' only");
    if (!w.unit) return;
    if (w.every || form.time_form == TimeForm::iso8601) {
      problems_.add(w.unit->at, "'unit' where no number is read", "it with a column of numbers only");
      return;
    }
    const auto ns = Conversion::between(w.unit->value, Unit::known("ns"));
    if (ns && ns->gain() > 0.5 && ns->gain() < 9e15 &&
        std::abs(ns->gain() - std::round(ns->gain())) < 1e-6 * ns->gain())
      form.time_unit_ns = std::llround(ns->gain());
    else
      problems_.add(w.unit->at, "found \"" + w.unit->value.text() + "\"",
                    "a unit of time of one nanosecond or more: \"s\", \"ms\", \"us\", \"ns\", \"min\" or \"h\"",
                    ns ? "" : ns.error().context);
  }

  SignalSpec& add_signal(const Name& name, const written::RecordedSignal& w, const std::string& device,
                         ImportDescription& out) {
    auto& spec = out.signals.emplace_back();
    auto& info = spec.info;
    const auto& unit = w.unit.value;
    info.name = name.value;
    info.unit = unit.text();
    info.device = device;
    info.clock = "recording";
    info.location = w.location;
    info.positive = w.positive;
    info.bench_owned = w.bench_owned;
    if (w.delay) {
      info.delay = w.delay->value;
      info.delay_uncertainty = w.delay->u;
    }
    if (w.unit.at.line == 0) return spec;  // its absence is told
    Conversion convert;
    if (w.raw_unit) {
      if (const auto c = Conversion::between(w.raw_unit->value, unit))
        convert = *c;
      else
        problems_.add(w.raw_unit->at, "found \"" + w.raw_unit->value.text() + "\"",
                      "a unit that converts to " + unit.text(), c.error().context);
    }
    spec.gain = convert.gain();
    spec.offset = convert.offset();
    if (w.calibration) apply_calibration(*w.calibration, unit, convert, draft_, spec);
    if (w.range && w.range->value.size() == 2) take_range(*w.range, unit, info);
    if (w.resolution) {
      const auto step = draft_.convert_difference(*w.resolution, unit);
      if (step && !(*step > 0.0))
        problems_.add(w.resolution->at, "found " + shown(w.resolution->value), "a resolution above 0");
      info.resolution = step.value_or(0.0);
      info.resolution_offset = spec.offset;
    }
    return spec;
  }

  void take_range(const Located<std::vector<written::LocatedQuantity>>& range, const Unit& unit, SignalInfo& info) {
    const auto low = draft_.convert(range.value[0], unit), high = draft_.convert(range.value[1], unit);
    if (!low || !high) return;
    if (*low >= *high)
      problems_.add(range.at, "the range " + shown(*low) + " to " + with_unit(*high, unit.text()),
                    "the lowest value first, then the highest");
    info.range_low = *low;
    info.range_high = *high;
  }

  std::optional<std::size_t> find_device(const Name& name, const written::FrameSignal& w, const CandumpForm& form) {
    std::vector<std::string> names;
    for (const auto& d : form.devices) names.push_back(d.name);
    if (!w.device) {
      if (names.size() == 1) return 0;
      if (!names.empty())
        problems_.add(name.at, "no 'device' in the signal '" + name.value + "'", one_of(names),
                      "several devices have frames here");
      return std::nullopt;
    }
    const auto at = std::find(names.begin(), names.end(), w.device->value);
    if (at != names.end()) return static_cast<std::size_t>(at - names.begin());
    problems_.add(w.device->at, "no frames of a device '" + w.device->value + "'",
                  names.empty() ? "a name in 'frames'" : one_of(names), did_you_mean(w.device->value, names));
    return std::nullopt;
  }

  void take_field(const written::FrameSignal& w, const std::vector<FieldInfo>& fields, SignalSpec& spec) {
    std::vector<std::string> names;
    for (const auto& f : fields) names.push_back(f.name);
    const auto at = std::find(names.begin(), names.end(), w.field.value);
    if (at == names.end()) {
      if (!names.empty() && !w.field.value.empty())
        problems_.add(w.field.at, "device '" + spec.info.device + "' has no field '" + w.field.value + "'",
                      one_of(names), did_you_mean(w.field.value, names));
      return;
    }
    const auto& field = fields[static_cast<std::size_t>(at - names.begin())];
    if (spec.info.resolution > 0.0) return;
    spec.info.resolution = std::abs(spec.gain) * field.resolution;
    spec.info.resolution_offset = spec.gain * field.resolution_offset + spec.offset;
  }

  Problems& problems_;
  Draft draft_{problems_};  // for what it knows of units
};

}  // namespace

std::unique_ptr<ImportDescription> parse_description(const std::string& text, const std::string& file,
                                                     Problems& problems) {
  const auto before = problems.count();
  const auto root = parse_json(text, file, problems);
  if (!root) return nullptr;
  Chosen chosen;
  read_kind(*root, "kind", written::recording_kinds(), chosen, problems);
  auto out = std::make_unique<ImportDescription>();
  out->file = file;
  Resolver resolver{problems};
  if (const auto* csv = std::any_cast<written::CsvDescription>(&chosen.value)) {
    resolver.common(*csv, *out);
    resolver.csv(*csv, *out);
  } else if (const auto* candump = std::any_cast<written::CandumpDescription>(&chosen.value)) {
    resolver.common(*candump, *out);
    resolver.candump(*candump, *out);
  }
  if (problems.count() != before) return nullptr;
  return out;
}

std::string import_schema() {
  SchemaBook book;
  const auto root = kinds_schema(book, "kind", written::recording_kinds());
  return book.document("trackrod import description", root);
}

}  // namespace trackrod
