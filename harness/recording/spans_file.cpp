#include "harness/recording/spans_file.hpp"

#include <algorithm>
#include <map>
#include <nlohmann/json.hpp>

#include "harness/base/fields.hpp"
#include "harness/recording/number_text.hpp"

namespace trackrod {
namespace {

struct WrittenSpan {
  Name step;
  Located<std::string> from, to;
};
struct WrittenSpans {
  std::vector<Located<WrittenSpan>> spans;
};

const Fields<WrittenSpan>& span_fields() {
  static const auto fields =
      Fields<WrittenSpan>{"span", "A stretch of the recording that stands for a step of a plan"}
          .need("step", &WrittenSpan::step, name(), "name of the step")
          .need("from", &WrittenSpan::from, located(text()),
                "in the recording's own time: \"12.5 s\"; where its times are dates also a date and time")
          .need("to", &WrittenSpan::to, located(text()), "as 'from'");
  return fields;
}

const Fields<WrittenSpans>& spans_fields() {
  static const auto fields =
      Fields<WrittenSpans>{"spans file", "Which stretches of a recording stand for which steps of a plan"}.need(
          "spans", &WrittenSpans::spans, list(located(object(span_fields)), 1), "the spans, in any order");
  return fields;
}

struct Refused {
  std::string found, allowed;
};
tl::expected<BenchTime, Refused> read_time(const std::string& text, std::optional<std::int64_t> wall_of_zero) {
  if (const auto date = read_date_time(text)) {
    if (wall_of_zero) return BenchTime{Duration{date->ns - *wall_of_zero}};
    return tl::unexpected<Refused>{{"a date, and the recording's times are none", "a time as \"12.5 s\""}};
  }
  // To the nanosecond, which a number of seconds in a double is not for long.
  const auto space = text.find(' ');
  const auto unit = space == std::string::npos ? "" : text.substr(text.find_last_of(' ') + 1);
  for (const auto& [name, ns] : {std::pair{"s", 1'000'000'000L},
                                 {"ms", 1'000'000L},
                                 {"us", 1'000L},
                                 {"min", 60'000'000'000L},
                                 {"h", 3'600'000'000'000L}})
    if (unit == name)
      if (const auto time = read_elapsed(text.substr(0, space), '.', ns)) return BenchTime{Duration{time->ns}};
  return tl::unexpected<Refused>{
      {"found \"" + text + "\"",
       "a time in s, ms, us, min or h, as \"12.5 s\"" +
           std::string{wall_of_zero ? ", or a date and time as \"2026-11-25T14:03:12.5+01:00\"" : ""}}};
}

std::optional<BenchTime> time_of(const Located<std::string>& written, std::optional<std::int64_t> wall_of_zero,
                                 Problems& problems) {
  if (written.value.empty()) return std::nullopt;  // told already
  const auto time = read_time(written.value, wall_of_zero);
  if (time) return *time;
  problems.add(written.at, time.error().found, time.error().allowed);
  return std::nullopt;
}

}  // namespace

std::string recording_time_text(BenchTime when) {
  const auto ns = when.time_since_epoch().count();
  const auto size = ns < 0 ? -static_cast<std::uint64_t>(ns) : static_cast<std::uint64_t>(ns);
  auto text = std::to_string(size % 1'000'000'000);
  text = (ns < 0 ? "-" : "") + std::to_string(size / 1'000'000'000) + "." + std::string(9 - text.size(), '0') + text;
  text.erase(text.find_last_not_of('0') + 1);
  if (text.back() == '.') text.pop_back();
  return text + " s";
}

Result<BenchTime> recording_time(const std::string& text, std::optional<std::int64_t> wall_of_zero) {
  const auto time = read_time(text, wall_of_zero);
  if (time) return *time;
  return fail(Fault::bad_input, time.error().found + "; allowed: " + time.error().allowed);
}

void number_spans(std::vector<Span>& spans) {
  std::stable_sort(spans.begin(), spans.end(), [](const Span& a, const Span& b) { return a.from < b.from; });
  std::map<std::string, std::uint32_t> next;
  for (auto& span : spans) span.cycle = next[span.step]++;
}

std::vector<Span> parse_spans(const std::string& text, const std::string& file,
                              std::optional<std::int64_t> wall_of_zero, Problems& problems) {
  std::vector<Span> spans;
  const auto root = parse_json(text, file, problems);
  WrittenSpans written;
  if (!root || !spans_fields().read(*root, written, problems)) return spans;
  for (const auto& [w, at] : written.spans) {
    const auto from = time_of(w.from, wall_of_zero, problems), to = time_of(w.to, wall_of_zero, problems);
    if (!from || !to) continue;
    if (*from >= *to)
      problems.add(at,
                   "a span that ends at " + recording_time_text(*to) + " and begins at " + recording_time_text(*from),
                   "'from' before 'to'", "are the two exchanged?");
    spans.push_back({w.step.value, 0, *from, *to, true});
  }
  number_spans(spans);
  return spans;
}

std::string spans_json(const std::vector<Span>& spans) {
  auto list = nlohmann::ordered_json::array();
  for (const auto& span : spans)
    list.push_back(
        {{"step", span.step}, {"from", recording_time_text(span.from)}, {"to", recording_time_text(span.to)}});
  return nlohmann::ordered_json{{"spans", list}}.dump(2) + "\n";
}

std::string spans_schema() {
  SchemaBook book;
  const auto root = spans_fields().schema(book);
  return book.document("trackrod spans of a recording", root);
}

}  // namespace trackrod
