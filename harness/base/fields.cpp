#include "harness/base/fields.hpp"

#include <algorithm>
#include <cctype>
#include <cmath>
#include <nlohmann/json.hpp>

namespace trackrod {
namespace {

using nlohmann::json;

Schema make(json j) { return std::make_shared<json>(std::move(j)); }

// A number and a unit in words, the form every quantity takes in a file.
constexpr const char* quantity_pattern = R"(^ *[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?( *[^ 0-9.+@-].*)?$)";

bool read_quantity(const Node& n, Quantity& out, Problems& problems) {
  if (n.kind != Node::Kind::text) {
    detail::complain_kind(n, "a quantity in quotes, a number and a unit, as in \"12.5 deg\"", problems);
    return false;
  }
  auto q = Quantity::parse(n.text);
  if (!q) {
    problems.add(n.at, "found " + n.shown(), "a number and a unit, as in \"12.5 deg\"", q.error().context);
    return false;
  }
  out = std::move(*q);
  return true;
}

bool within(double v, double low, double high) { return std::isfinite(v) && v >= low && v <= high; }

std::string range_text(double low, double high, const std::string& unit) {
  const auto u = unit == "1" || unit.empty() ? "" : " " + unit;
  const bool no_low = low <= -1e300, no_high = high >= 1e300;
  if (no_low && no_high) return unit.empty() || unit == "1" ? "a number" : "a quantity in " + unit;
  if (no_low) return "at most " + shown(high) + u;
  if (no_high) return "at least " + shown(low) + u;
  return shown(low) + " to " + shown(high) + u;
}

}  // namespace

SchemaBook::SchemaBook() : definitions_{make(json::object())} {}

Schema SchemaBook::define(const std::string& name, const std::function<Schema()>& write) {
  std::string key;
  for (const char c : name) key += std::isalnum(static_cast<unsigned char>(c)) ? c : '_';
  if (!definitions_->contains(key)) {
    (*definitions_)[key] = true;  // stands for the definition while it refers to itself
    (*definitions_)[key] = *write();
  }
  return make({{"$ref", "#/definitions/" + key}});
}

std::string SchemaBook::document(const std::string& title, const Schema& root) const {
  json j{{"$schema", "http://json-schema.org/draft-07/schema#"},
         {"title", title},
         {"allOf", {*root}},
         {"definitions", *definitions_}};
  return j.dump(2) + "\n";
}

Shape<std::string> text() {
  return {[](const Node& n, std::string& out, Problems& p) {
            if (n.kind != Node::Kind::text || n.text.empty()) return detail::complain_kind(n, "a text", p), false;
            out = n.text;
            return true;
          },
          [](SchemaBook&) {
            return make({{"type", "string"}, {"minLength", 1}});
          }};
}

Shape<std::vector<std::string>> texts() {
  return {[one = text(), several = list(text(), 1)](const Node& n, std::vector<std::string>& out, Problems& p) {
            return n.kind == Node::Kind::list ? several.read(n, out, p) : one.read(n, out.emplace_back(), p);
          },
          [](SchemaBook& b) {
            return make({{"anyOf", {*text().schema(b), *list(text(), 1).schema(b)}}});
          }};
}

Shape<std::string> word() {
  return {[](const Node& n, std::string& out, Problems& p) {
            if (n.kind != Node::Kind::text) return detail::complain_kind(n, "a name", p), false;
            out = n.text;
            return detail::check_word(n.text, n.at, p);
          },
          [](SchemaBook&) {
            return make({{"type", "string"}, {"pattern", "^[A-Za-z][A-Za-z0-9_.-]*$"}});
          }};
}

Shape<std::string> day() {
  return {[](const Node& n, std::string& out, Problems& p) {
            bool good = n.kind == Node::Kind::text && n.text.size() == 10;
            for (std::size_t i = 0; good && i < 10; ++i)
              good = i == 4 || i == 7 ? n.text[i] == '-' : std::isdigit(static_cast<unsigned char>(n.text[i])) != 0;
            if (good) {
              const std::chrono::year_month_day ymd{
                  std::chrono::year{std::stoi(n.text.substr(0, 4))},
                  std::chrono::month{static_cast<unsigned>(std::stoi(n.text.substr(5, 2)))},
                  std::chrono::day{static_cast<unsigned>(std::stoi(n.text.substr(8, 2)))}};
              good = ymd.ok();
            }
            if (!good) return detail::complain_kind(n, "a date, year-month-day, as in \"2026-11-25\"", p), false;
            out = n.text;
            return true;
          },
          [](SchemaBook&) {
            return make({{"type", "string"}, {"pattern", "^[0-9]{4}-[0-9]{2}-[0-9]{2}$"}});
          }};
}

Shape<bool> flag() {
  return {[](const Node& n, bool& out, Problems& p) {
            if (n.kind != Node::Kind::boolean) return detail::complain_kind(n, "true or false", p), false;
            out = n.boolean;
            return true;
          },
          [](SchemaBook&) {
            return make({{"type", "boolean"}});
          }};
}

Shape<double> number(double low, double high) {
  return {[=](const Node& n, double& out, Problems& p) {
            if (n.kind != Node::Kind::number || !within(n.number, low, high))
              return detail::complain_kind(n, "a number, " + range_text(low, high, ""), p), false;
            out = n.number;
            return true;
          },
          [=](SchemaBook&) {
            json j{{"type", "number"}};
            if (low > -1e300) j["minimum"] = low;
            if (high < 1e300) j["maximum"] = high;
            return make(std::move(j));
          }};
}

Shape<std::int64_t> whole_number(std::int64_t low, std::int64_t high) {
  return {[=](const Node& n, std::int64_t& out, Problems& p) {
            // Doubles are exact for whole numbers up to 2^53, which covers every field there is.
            if (n.kind != Node::Kind::number || !n.integral || n.number < static_cast<double>(low) ||
                n.number > static_cast<double>(high)) {
              detail::complain_kind(n, "a whole number, " + std::to_string(low) + " to " + std::to_string(high), p);
              return false;
            }
            out = static_cast<std::int64_t>(n.number);
            return true;
          },
          [=](SchemaBook&) {
            return make({{"type", "integer"}, {"minimum", low}, {"maximum", high}});
          }};
}

namespace {

// `want`: what a message says is allowed.
Shape<double> bounded(const std::string& unit_text, double low, double high, const std::string& want) {
  const auto unit = Unit::known(unit_text);
  return {[=](const Node& n, double& out, Problems& p) {
            Quantity q;
            if (!read_quantity(n, q, p)) return false;
            const auto v = q.in(unit);
            if (!v || !within(*v, low, high)) {
              p.add(n.at, "found " + n.shown(), want, v ? "" : v.error().context);
              return false;
            }
            out = *v;
            return true;
          },
          [=](SchemaBook&) {
            return make({{"type", "string"},
                         {"pattern", quantity_pattern},
                         {"description", "quantity: " + range_text(low, high, unit_text)}});
          }};
}

// In the largest unit that keeps it whole: "1 us", "10 s".
std::string time_text(Duration d) {
  using Step = std::pair<std::int64_t, const char*>;
  for (const auto& [size, name] : {Step{1'000'000'000, " s"}, Step{1'000'000, " ms"}, Step{1'000, " us"}})
    if (d.count() % size == 0) return std::to_string(d.count() / size) + name;
  return std::to_string(d.count()) + " ns";
}

}  // namespace

Shape<double> quantity(const std::string& unit, double low, double high) {
  return bounded(unit, low, high, range_text(low, high, unit));
}

Shape<Duration> duration(Duration low, Duration high) {
  // Times are whole nanoseconds: converting "1 us" to seconds may end a little below its own bound.
  constexpr double half = 0.5e-9;
  auto in_seconds = bounded("s", seconds(low) - half, seconds(high) + half, time_text(low) + " to " + time_text(high));
  return {[in_seconds](const Node& n, Duration& out, Problems& p) {
            double v{};
            if (!in_seconds.read(n, v, p)) return false;
            out = from_seconds(v);
            return true;
          },
          quantity("s", seconds(low), seconds(high)).schema};
}

Shape<Located<Quantity>> any_quantity() {
  return {[](const Node& n, Located<Quantity>& out, Problems& p) {
            out.at = n.at;
            return read_quantity(n, out.value, p);
          },
          [](SchemaBook&) {
            return make({{"type", "string"}, {"pattern", quantity_pattern}, {"description", "a number and a unit"}});
          }};
}

Shape<Located<Unit>> unit_name() {
  return {[](const Node& n, Located<Unit>& out, Problems& p) {
            out.at = n.at;
            if (n.kind != Node::Kind::text || n.text.empty())
              return detail::complain_kind(n, "a unit in quotes, as in \"deg/s\"", p), false;
            auto unit = Unit::parse(n.text);
            if (!unit) return p.add(n.at, "found " + n.shown(), "a unit, as in \"deg/s\"", unit.error().context), false;
            out.value = *unit;
            return true;
          },
          [](SchemaBook&) {
            return make({{"type", "string"}, {"minLength", 1}, {"description", "a unit"}});
          }};
}

Shape<Node> raw() {
  return {[](const Node& n, Node& out, Problems&) { return out = n, true; },
          [](SchemaBook&) { return make(json::object()); }};
}

namespace detail {

void complain_kind(const Node& found, const std::string& allowed, Problems& problems) {
  problems.add(found.at, "found " + found.shown(), allowed);
}

void complain_choice(const Node& found, const std::vector<std::string>& names, Problems& problems) {
  problems.add(found.at, "found " + found.shown(), one_of(names),
               found.kind == Node::Kind::text ? did_you_mean(found.text, names) : "");
}

Schema list_schema(Schema item, std::size_t least, std::size_t most) {
  json j{{"type", "array"}, {"items", *item}};
  if (least > 0) j["minItems"] = least;
  if (most != SIZE_MAX) j["maxItems"] = most;
  return make(std::move(j));
}

Schema choice_schema(const std::vector<std::string>& names) { return make({{"type", "string"}, {"enum", names}}); }

Schema dictionary_schema(Schema value) {
  return make({{"type", "object"},
               {"propertyNames", {{"pattern", "^[A-Za-z][A-Za-z0-9_.-]*$"}}},
               {"additionalProperties", *value}});
}

bool check_word(const std::string& key, const Where& at, Problems& problems) {
  bool good = !key.empty() && std::isalpha(static_cast<unsigned char>(key.front()));
  for (const char c : key)
    good = good && (std::isalnum(static_cast<unsigned char>(c)) || c == '_' || c == '.' || c == '-');
  if (!good) problems.add(at, "found the name '" + key + "'", "a letter, then letters, digits, '_', '.' and '-'");
  return good;
}

bool check_keys(const Node& object, const std::string& what, const std::vector<FieldFace>& faces,
                const std::string& extra, Problems& problems) {
  std::vector<std::string> known;
  for (const auto& f : faces) known.push_back(f.key);
  if (!extra.empty()) known.push_back(extra);
  bool good = true;
  for (const auto& m : object.members) {
    // "$schema" is how editors find the schema.
    if (m.key == "$schema" || std::find(known.begin(), known.end(), m.key) != known.end()) continue;
    problems.add(m.key_at, "unknown key '" + m.key + "' in " + what, one_of(known), did_you_mean(m.key, known));
    good = false;
  }
  for (const auto& f : faces) {
    if (!f.needed || object.find(f.key) != nullptr) continue;
    problems.add(object.at, "the key '" + f.key + "' is missing in " + what, "'" + f.key + "': " + f.doc);
    good = false;
  }
  return good;
}

Schema object_schema(const std::string& doc, const std::vector<FieldFace>& faces, const std::vector<Schema>& values,
                     const std::string& kind_key, const std::string& kind) {
  json properties = json::object(), needed = json::array();
  properties["$schema"] = {{"type", "string"}};
  if (!kind_key.empty()) {
    properties[kind_key] = {{"const", kind}, {"description", doc}};
    needed.push_back(kind_key);
  }
  for (std::size_t i = 0; i < faces.size(); ++i) {
    json value = *values[i];
    // draft-07 ignores what stands beside "$ref": wrap it, so that editors still show the words.
    if (value.is_object() && value.contains("$ref")) value = {{"allOf", {value}}};
    if (value.is_object())
      value["description"] =
          faces[i].doc + (value.contains("description") ? " (" + value["description"].get<std::string>() + ")" : "");
    properties[faces[i].key] = value;
    if (faces[i].needed) needed.push_back(faces[i].key);
  }
  json j{{"type", "object"}, {"description", doc}, {"properties", properties}, {"additionalProperties", false}};
  if (!needed.empty()) j["required"] = needed;
  return make(std::move(j));
}

}  // namespace detail

bool read_kind(const Node& n, const std::string& kind_key, const std::vector<KindEntry>& family, Chosen& out,
               Problems& problems) {
  out.at = n.at;
  std::vector<std::string> names;
  for (const auto& k : family) names.push_back(k.name);
  if (n.kind != Node::Kind::object)
    return detail::complain_kind(n, "an object with '" + kind_key + "'", problems), false;
  const auto* told = n.find(kind_key);
  if (told == nullptr) {
    problems.add(n.at, "the key '" + kind_key + "' is missing", one_of(names));
    return false;
  }
  if (told->kind == Node::Kind::text)
    for (const auto& k : family)
      if (k.name == told->text) {
        out.kind = k.name;
        return k.read(n, kind_key, out.value, problems);
      }
  detail::complain_choice(*told, names, problems);
  return false;
}

Schema kinds_schema(SchemaBook& book, const std::string& kind_key, const std::vector<KindEntry>& family) {
  json each = json::array();
  for (const auto& k : family) each.push_back(*k.schema(book, kind_key));
  return make({{"oneOf", each}});
}

}  // namespace trackrod
