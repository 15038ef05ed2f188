#include "harness/recording/written_description.hpp"

#include <nlohmann/json.hpp>

#include "drivers/protocol/protocol.hpp"

namespace trackrod::written {
namespace {

constexpr Duration longest = std::chrono::hours{1};

Shape<ColumnRef> column() {
  static constexpr std::int64_t most = 65536;
  return {[number = whole_number(1, most)](const Node& n, ColumnRef& out, Problems& p) {
            out.at = n.at;
            if (n.kind == Node::Kind::text && !n.text.empty()) return out.name = n.text, true;
            std::int64_t value{};
            if (n.kind != Node::Kind::number)
              return detail::complain_kind(n, "the text at a column's head, or its number from 1 on", p), false;
            if (!number.read(n, value, p)) return false;
            out.number = static_cast<std::size_t>(value);
            return true;
          },
          [](SchemaBook&) {
            return std::make_shared<nlohmann::json>(nlohmann::json{
                {"anyOf",
                 {{{"type", "string"}, {"minLength", 1}}, {{"type", "integer"}, {"minimum", 1}, {"maximum", most}}}}});
          }};
}

// An empty text is a text here.
Shape<std::string> any_text() {
  return {[](const Node& n, std::string& out, Problems& p) {
            if (n.kind != Node::Kind::text) return detail::complain_kind(n, "a text", p), false;
            return out = n.text, true;
          },
          [](SchemaBook&) {
            return std::make_shared<nlohmann::json>(nlohmann::json{{"type", "string"}});
          }};
}

template <class T>
void add_signal_keys(Fields<T>& fields) {
  fields.need("unit", &T::unit, unit_name(), "unit of the signal; 1 for a code or a count")
      .may("range", &T::range, maybe(located(list(any_quantity(), 2, 2))),
           "lowest and highest value that the sensor can give; what stays at one of them is taken for saturated")
      .may("location", &T::location, text(), "where it is measured, e.g. hand wheel rim")
      .may("positive", &T::positive, text(), "what a positive value means, e.g. left turn")
      .may("bench_owned", &T::bench_owned, flag(),
           "measured by a bench or its like, not by the unit under test; default false")
      .may("delay", &T::delay, maybe(object(delay_fields)), "delay of the sensor")
      .may("resolution", &T::resolution, maybe(any_quantity()),
           "step of the sensor; left out: that of the last digit in the file")
      .may("calibration", &T::calibration, maybe(object(calibration_fields)), "calibration of the sensor");
}

const Fields<ColumnSignal>& column_signal_fields() {
  static const auto fields = [] {
    auto f = Fields<ColumnSignal>{"recorded column", "One signal of a recording in columns"}.need(
        "column", &ColumnSignal::column, column(), "its column: the text at the head, or the number from 1 on");
    f.may("column_unit", &ColumnSignal::raw_unit, maybe(unit_name()),
          "unit of the number in the column; default the signal's unit");
    add_signal_keys(f);
    return f;
  }();
  return fields;
}

const Fields<FrameSignal>& frame_signal_fields() {
  static const auto fields = [] {
    auto f = Fields<FrameSignal>{"recorded field", "One signal of a recorded bus"}.need("field", &FrameSignal::field,
                                                                                        name(), "the field of a frame");
    f.may("device", &FrameSignal::device, maybe(name()),
          "the name in 'frames' under which that frame stands; not needed where there is one only");
    f.may("field_unit", &FrameSignal::raw_unit, maybe(unit_name()),
          "unit of the number in the field; default the signal's unit");
    add_signal_keys(f);
    return f;
  }();
  return fields;
}

const Fields<RecordedUnit>& unit_fields() {
  static const auto fields = Fields<RecordedUnit>{"recorded unit", "The unit under test, as far as it is known"}
                                 .may("name", &RecordedUnit::name, text(), "its name")
                                 .may("serial", &RecordedUnit::serial, word(), "its serial number");
  return fields;
}

// `stamps_needed`: there is no interval between rows from which the stamps' uncertainty could be told.
template <class T>
void add_common_keys(Fields<T>& fields, bool stamps_needed) {
  constexpr auto stamp_doc =
      "half-width of what each time stamp may be off against the signals: sampling, buffering, and the clock's steps";
  const auto stamps = maybe(duration(Duration{0}, std::chrono::seconds{4}));
  fields.need("import", &T::name, name(), "name of the description")
      .may("description", &T::description, text(), "where such recordings come from")
      .may("unit", &T::unit, object(unit_fields), "the unit under test")
      .may("gap", &T::gap, maybe(duration(std::chrono::microseconds{1}, longest)),
           "no row or frame for longer than this is a gap; default ten times the usual interval")
      .may("bad_rows", &T::leaves_out, choice<bool>({{"refuse", false}, {"leave_out", true}}),
           "what a row that cannot be read does: refuse the file (default), or be left out, counted and told");
  if (stamps_needed)
    fields.need("stamp_uncertainty", &T::stamp_uncertainty, stamps, stamp_doc);
  else
    fields.may("stamp_uncertainty", &T::stamp_uncertainty, stamps,
               std::string{stamp_doc} + "; default half the usual interval between rows");
}

const Fields<CsvTime>& time_fields() {
  static const auto fields =
      Fields<CsvTime>{"time column", "Where the times stand, and what they mean"}
          .may("column", &CsvTime::column, maybe(column()), "the column of the times")
          .may("form", &CsvTime::form,
               maybe(located(choice<TimeForm>(
                   {{"elapsed", TimeForm::elapsed}, {"epoch", TimeForm::epoch}, {"iso8601", TimeForm::iso8601}}))),
               "elapsed: since a zero of its own (default); epoch: since 1970-01-01 UTC; iso8601: date and time of day")
          .may("unit", &CsvTime::unit, maybe(unit_name()), "elapsed or epoch: unit of the number; default s")
          .may("every", &CsvTime::every, maybe(located(duration(std::chrono::nanoseconds{1}, longest))),
               "instead of a column: the time from row to row");
  return fields;
}

const Fields<CsvDescription>& csv_fields() {
  static const auto fields = [] {
    Fields<CsvDescription> f{"csv recording", "A recording in columns, as comma-separated values after RFC 4180"};
    add_common_keys(f, false);
    f.may("separator", &CsvDescription::separator,
          choice<char>({{"comma", ','}, {"semicolon", ';'}, {"tab", '\t'}, {"space", ' '}, {"bar", '|'}}),
          "what stands between two fields; default comma")
        .may("decimal", &CsvDescription::decimal, located(choice<char>({{"point", '.'}, {"comma", ','}})),
             "the decimal sign; default point")
        .may("lines_above", &CsvDescription::lines_above, integer<std::uint64_t>(0, 10000),
             "lines of other text above the table; default 0")
        .may("heads", &CsvDescription::heads, flag(), "the first row of the table names the columns; default true")
        .need("time", &CsvDescription::time, located(object(time_fields)), "where the times stand")
        .may("no_value", &CsvDescription::no_value, maybe(list(any_text())),
             "texts that stand for \"no value\"; default \"\" and \"NaN\"")
        .need("signals", &CsvDescription::signals, located(dictionary(object(column_signal_fields))),
              "the signals, by the names that plans have for them");
    return f;
  }();
  return fields;
}

const Fields<CandumpDescription>& candump_fields() {
  static const auto frames = [] {
    std::vector<KindEntry> kinds;
    for (const auto& p : protocol_table())
      if (p.entry.settings.name == "frames") kinds.push_back(p.entry.settings);
    return Shape<Chosen>{
        [kinds](const Node& n, Chosen& out, Problems& p) { return read_kind(n, "kind", kinds, out, p); },
        [kinds](SchemaBook& b) { return kinds_schema(b, "kind", kinds); }};
  };
  static const auto fields = [] {
    Fields<CandumpDescription> f{"candump recording", "A recorded CAN bus, as the text that candump writes"};
    add_common_keys(f, true);
    f.may("stamps", &CandumpDescription::deltas, choice<bool>({{"absolute", false}, {"delta", true}}),
          "absolute: each stamp is a time (default); delta: each is the time since the line before")
        .may("interface", &CandumpDescription::interface, text(), "only frames of this interface; default all")
        .need("frames", &CandumpDescription::frames, located(dictionary(frames())),
              "frames by device, each as the protocol \"frames\" of a bench file")
        .need("signals", &CandumpDescription::signals, located(dictionary(object(frame_signal_fields))),
              "the signals, by the names that plans have for them");
    return f;
  }();
  return fields;
}

}  // namespace

const std::vector<KindEntry>& recording_kinds() {
  static const std::vector<KindEntry> kinds{kind("csv", csv_fields), kind("candump", candump_fields)};
  return kinds;
}

}  // namespace trackrod::written
