// Descriptions of recordings: what they mean, and what is wrong with them, all at once and each with its place.

#include "harness/recording/description.hpp"

#include <cstdlib>

#include "harness/base/text_file.hpp"
#include "harness/recording/spans_file.hpp"
#include "tests/recording/described.hpp"
#include "tests/recording/python.hpp"

using namespace trackrod;
using namespace trackrod::test;

namespace {

std::vector<std::string> problems_of(const std::string& text) {
  Problems problems;
  CHECK_FALSE(parse_description(text, "as.json", problems));
  std::vector<std::string> out;
  for (const auto& p : problems.sorted()) out.push_back(p.sentence());
  return out;
}

std::string candump(const std::string& frames, const std::string& signals) {
  return R"({"import": "bus", "kind": "candump", "stamp_uncertainty": "0.1 ms", "frames": )" + frames +
         R"(, "signals": )" + signals + "}";
}
const std::string one_frame =
    R"({"kind": "frames", "receive": {"s": {"length": 2, "can": {"id": "0x10"}, "fields": {"x": {"start": 0, "bits": 16}}}}})";

}  // namespace

TEST_CASE("a signal of a recording has unit, calibration, delay and range as one of a bench", "[description]") {
  const auto d = description_of(csv_description("", R"({"column": 1, "unit": "ms"})", R"({
    "hand.angle": {"column": "angle", "column_unit": "rad", "unit": "deg", "range": ["-200 deg", "200 deg"],
                   "location": "rim", "positive": "left turn", "bench_owned": true, "resolution": "0.1 deg",
                   "delay": {"value": "1 ms", "u": "0.2 ms"},
                   "calibration": {"gain": 2, "offset": "1 deg", "u": "0.05 deg", "gain_u": 0.001, "date": "2026-11-02",
                                   "certificate": "demo-0113"}}})"));
  REQUIRE(d->signals.size() == 1);
  const auto& spec = d->signals[0];
  CHECK(spec.gain == Approx(2.0 * 180.0 / M_PI));
  CHECK(spec.offset == Approx(1.0));
  CHECK(spec.info.name == "hand.angle");
  CHECK(spec.info.unit == "deg");
  CHECK(spec.info.range_low == Approx(-200.0));
  CHECK(spec.info.range_high == Approx(200.0));
  CHECK(spec.info.location == "rim");
  CHECK(spec.info.positive == "left turn");
  CHECK(spec.info.bench_owned);
  CHECK(spec.info.resolution == Approx(0.1));
  CHECK(spec.info.resolution_offset == Approx(1.0));
  CHECK(spec.info.delay == std::chrono::milliseconds{1});
  CHECK(spec.info.delay_uncertainty == std::chrono::microseconds{200});
  CHECK(spec.info.calibration.standard_uncertainty == Approx(0.05));
  CHECK(spec.info.calibration.certificate == "demo-0113");
  const auto& form = std::get<CsvForm>(d->form);
  CHECK(form.time_unit_ns == 1'000'000);
  CHECK(form.time->number == 1);
}

TEST_CASE("each mistake in a description is told with its place", "[description]") {
  struct Case {
    std::string text;
    std::vector<std::string> parts;  // of one sentence each
  };
  const std::string a = R"({"a": {"column": "a", "unit": "deg"}})";
  const auto c = GENERATE_COPY(values<Case>({
      {R"({"import": "x"})", {"the key 'kind' is missing; allowed: 'csv' or 'candump'"}},
      {R"({"import": "x", "kind": "cvs"})", {"found \"cvs\"; allowed: 'csv' or 'candump'; did you mean 'csv'?"}},
      {R"({"import": "x", "kind": "csv"})", {"the key 'time' is missing", "the key 'signals' is missing"}},
      {csv_description(R"(, "seperator": "comma")"), {"unknown key 'seperator'"}},
      {csv_description(R"(, "separator": ",")"), {"found \",\"; allowed: 'comma', 'semicolon'"}},
      {csv_description(R"(, "decimal": "comma")"), {"the decimal sign is the separator too"}},
      {csv_description("", R"({})"), {"neither 'column' nor 'every'"}},
      {csv_description("", R"({"column": "t", "every": "1 ms"})"), {"both 'column' and 'every'"}},
      {csv_description("", R"({"every": "1 ms", "form": "epoch"})"), {"'form' without a column"}},
      {csv_description("", R"({"every": "1 ms", "unit": "s"})"), {"'unit' where no number is read"}},
      {csv_description("", R"({"column": "t", "form": "iso8601", "unit": "s"})"), {"'unit' where no number is read"}},
      {csv_description("", R"({"column": "t", "unit": "deg"})"), {"found \"deg\"; allowed: a unit of time"}},
      {csv_description("", R"({"column": 0})"), {"found 0; allowed: a whole number, 1 to 65536"}},
      {csv_description("", R"({"column": true})"), {"found true; allowed: the text at a column's head, or its number"}},
      {csv_description(R"(, "heads": false)"), {"the column 't' by name", "the column 'a' by name"}},
      {csv_description("", R"({"column": "t"})", "{}"), {"no signals; allowed: at least one"}},
      {csv_description("", R"({"column": "t"})", R"({"a": {"column": "a", "unit": "dg"}})"),
       {"found \"dg\"; allowed: a unit"}},
      {csv_description("", R"({"column": "t"})", R"({"a": {"column": "a", "unit": "deg", "column_unit": "V"}})"),
       {"found \"V\"; allowed: a unit that converts to deg"}},
      {csv_description("", R"({"column": "t"})",
                       R"({"a": {"column": "a", "unit": "deg", "range": ["5 deg", "1 deg"]}})"),
       {"the range 5 to 1 deg; allowed: the lowest value first"}},
      {csv_description("", R"({"column": "t"})", R"({"a": {"column": "a", "unit": "deg", "resolution": "0 deg"}})"),
       {"found 0 deg; allowed: a resolution above 0"}},
      {csv_description(
           "", R"({"column": "t"})",
           R"({"a": {"column": "a", "unit": "deg", "calibration": {"gain": 0, "u": "1 deg", "date": "2026-01-01"}}})"),
       {"a calibration gain of 0"}},
      {R"({"import": "bus", "kind": "candump", "frames": {"d": )" + one_frame +
           R"(}, "signals": {"x": {"field": "x", "unit": "1"}}})",
       {"the key 'stamp_uncertainty' is missing"}},
      {candump("{}", R"({"x": {"field": "x", "unit": "1"}})"),
       {"no frames; allowed: the frames of at least one device"}},
      {candump(R"({"d": )" + one_frame + "}", R"({"x": {"field": "y", "unit": "1"}})"),
       {"device 'd' has no field 'y'; allowed: 'x'"}},
      {candump(R"({"d": )" + one_frame + R"(, "e": )" + one_frame + "}", R"({"x": {"field": "x", "unit": "1"}})"),
       {"no 'device' in the signal 'x'; allowed: 'd' or 'e'"}},
      {candump(R"({"d": )" + one_frame + "}", R"({"x": {"device": "f", "field": "x", "unit": "1"}})"),
       {"no frames of a device 'f'; allowed: 'd'"}},
      {candump(
           R"({"d": {"kind": "frames", "receive": {"s": {"length": 2, "fields": {"x": {"start": 0, "bits": 16}}}}}})",
           R"({"x": {"field": "x", "unit": "1"}})"),
       {"frame 's' has no identifier"}},
  }));
  CAPTURE(c.text);
  const auto told = problems_of(c.text);
  CAPTURE(told);
  REQUIRE(told.size() == c.parts.size());
  for (std::size_t i = 0; i < told.size(); ++i) {
    CHECK(told[i].find("as.json:1:") == 0);
    CHECK(told[i].find(c.parts[i]) != std::string::npos);
  }
}

TEST_CASE("the shipped schemas of recordings are those that the field tables write, and a judge takes them",
          "[description]") {
  for (const auto& [kind, written] : {std::pair{"import", import_schema()}, {"spans", spans_schema()}}) {
    const auto path = std::string{TRACKROD_SOURCE_DIR "/docs/schema/"} + kind + ".schema.json";
    if (std::getenv("TRACKROD_WRITE_SCHEMA") != nullptr) std::ofstream{path, std::ios::binary} << written;
    INFO("to write it anew: trackrod schema " << kind << " > docs/schema/" << kind << ".schema.json");
    const auto shipped = read_text(path);
    REQUIRE(shipped);
    CHECK(*shipped == written);
  }
  const auto judged = python(R"(
import json, jsonschema, sys
schema = json.load(open(sys.argv[2] + '/import.schema.json'))
jsonschema.Draft7Validator.check_schema(schema)
for line in open(sys.argv[1]):
    print(jsonschema.Draft7Validator(schema).is_valid(json.loads(line)))
)",
                             csv_description(R"(, "no_value": ["", "-"], "gap": "1 s")") + "\n" +
                                 candump(R"({"d": )" + one_frame + "}", R"({"x": {"field": "x", "unit": "1"}})") +
                                 "\n" + csv_description(R"(, "separator": ",")") + "\n",
                             TRACKROD_SOURCE_DIR "/docs/schema");
  CHECK(judged == "True\nTrue\nFalse\n");
}

TEST_CASE("the descriptions in the documentation and beside the example are taken", "[description]") {
  const auto page = read_text(TRACKROD_SOURCE_DIR "/docs/import.md"),
             shipped = read_text(TRACKROD_SOURCE_DIR "/fixtures/recording/logger.json");
  REQUIRE((page && shipped));
  const auto from = page->find("```json") + 7;
  CHECK(description_of(page->substr(from, page->find("```", from) - from))->name == "bus-log");
  CHECK(description_of(*shipped)->signals.size() == 3);
}

TEST_CASE("spans are read in the recording's own time, and written as they are read", "[spans]") {
  Problems problems;
  const auto spans = parse_spans(R"({"spans": [
    {"step": "weave", "from": "12.5 s", "to": "18000.000000001 s"},
    {"step": "step", "from": "-250 ms", "to": "2 min"},
    {"step": "weave", "from": "1 s", "to": "2 s"}]})",
                                 "spans.json", std::nullopt, problems);
  REQUIRE(problems.none());
  REQUIRE(spans.size() == 3);
  CHECK(spans[0].step == "step");
  CHECK(spans[0].from == BenchTime{std::chrono::milliseconds{-250}});
  CHECK(spans[0].to == BenchTime{std::chrono::minutes{2}});
  CHECK((spans[1].step == "weave" && spans[1].cycle == 0));
  CHECK((spans[2].step == "weave" && spans[2].cycle == 1));
  CHECK(spans[2].to.time_since_epoch().count() == 18'000'000'000'001);
  const auto again = parse_spans(spans_json(spans), "spans.json", std::nullopt, problems);
  REQUIRE(again.size() == 3);
  for (std::size_t i = 0; i < 3; ++i) {
    CHECK(again[i].from == spans[i].from);
    CHECK(again[i].to == spans[i].to);
  }
}

TEST_CASE("dates in spans need dates in the recording", "[spans]") {
  const auto text =
      R"({"spans": [{"step": "s", "from": "2026-11-26T10:00:01.5Z", "to": "2026-11-26T12:00:02+02:00"}]})";
  Problems problems;
  const auto spans = parse_spans(text, "spans.json", 1'795'687'200'000'000'000, problems);  // 2026-11-26T10:00:00Z
  REQUIRE(problems.none());
  CHECK(spans.at(0).from == BenchTime{std::chrono::milliseconds{1500}});
  CHECK(spans.at(0).to == BenchTime{std::chrono::seconds{2}});
  parse_spans(text, "spans.json", std::nullopt, problems);
  REQUIRE(problems.count() == 2);
  CHECK(problems.sorted()[0].sentence().find("a date, and the recording's times are none") != std::string::npos);
}

TEST_CASE("spans that make no sense are told", "[spans]") {
  for (const auto& [text, part] :
       {std::pair{R"({"spans": []})", "a list of at least 1"},
        {R"({"spans": [{"step": "s", "from": "2 s", "to": "1 s"}]})", "ends at 1 s and begins at 2 s"},
        {R"({"spans": [{"step": "s", "from": "2 deg", "to": "3 s"}]})", "found \"2 deg\"; allowed: a time"},
        {R"({"spans": [{"step": "s", "from": "2", "to": "3 s"}]})", "found \"2\"; allowed: a time"},
        {R"({"spans": [{"from": "2 s", "to": "3 s"}]})", "the key 'step' is missing"}}) {
    Problems problems;
    parse_spans(text, "spans.json", std::nullopt, problems);
    CAPTURE(text);
    REQUIRE(problems.count() == 1);
    CHECK(problems.sorted()[0].sentence().find(part) != std::string::npos);
  }
}
