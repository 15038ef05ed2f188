// Every field of every shipped plan deleted, misspelt, doubled, given another type and another unit.

#include <algorithm>
#include <cctype>
#include <set>

#include "tests/plan/demo.hpp"
#include "tests/plan/fields_of_text.hpp"
#include "tests/spoilt.hpp"

using namespace trackrod;
using namespace trackrod::test;

namespace {

// Keys without which a plan is still one.
const std::set<std::string> optional_keys{
    "$schema",   "description",  "settle",     "start",   "criteria",    "slew",
    "jerk",      "acceleration", "conditions", "limits",  "rule",        "requirement",
    "drops",     "tolerance",    "inserted",   "right",   "none",        "fault_tolerant_time",
    "reference", "warning",      "speed",      "healthy", "over",        "watched",
    "hold_for",  "keep",         "before",     "after",   "whole_every", "stops",
    "baseline"};
// Lists of numbers, of any length.
const std::set<std::string> number_lists{"right", "none"};

bool starts_with(const std::string& text, const std::string& head) { return text.rfind(head, 0) == 0; }
// Keys that the author of the plan chose: a misspelt one is another name, not an unknown key.
bool chosen_key(const TextField& f) { return starts_with(f.path, "/variables/"); }

bool is_text(const std::string& text, const TextField& f) { return text[f.value_at] == '"'; }
std::string value_of(const std::string& text, const TextField& f) {
  return text.substr(f.value_at, f.end - f.value_at);
}
bool is_quantity(const std::string& text, const TextField& f) {
  const auto v = value_of(text, f);
  if (!is_text(text, f) || v.find("${") != std::string::npos) return false;
  const char c = v[1] == '-' ? v[2] : v[1];
  return std::isdigit(static_cast<unsigned char>(c)) != 0;
}

std::string replaced(std::string text, std::size_t from, std::size_t to, const std::string& with) {
  return text.replace(from, to - from, with);
}

// The pair and one comma beside it.
std::string without(const std::string& text, const TextField& f) {
  auto from = f.key_at, to = f.end;
  while (std::isspace(static_cast<unsigned char>(text[to])) != 0) ++to;
  if (text[to] == ',') return replaced(text, from, to + 1, "");
  to = f.end;
  while (text[from] != ',' && text[from] != '{') --from;
  return replaced(text, text[from] == ',' ? from : from + 1, to, "");
}

// Places of the texts that use the variable.
std::vector<Place> uses_of(const std::string& text, const std::string& variable) {
  std::vector<Place> places;
  for (auto at = text.find("${" + variable + "}"); at != std::string::npos;
       at = text.find("${" + variable + "}", at + 1))
    places.push_back(place_of(text, text.rfind('"', at)));
  return places;
}

void expect(const std::string& what, const std::string& text, const std::vector<Place>& places,
            const std::string& path) {
  const auto reading = read_plan(text);
  INFO(what << "\n" << reading.sentences());
  CHECK_FALSE(reading.plan);
  for (const auto& place : places) {
    CAPTURE(place.line, place.column);
    const bool told = std::any_of(reading.problems.begin(), reading.problems.end(), [&](const Problem& p) {
      return Place{p.at.line, p.at.column} == place && (path.empty() || p.at.path == path) && !p.found.empty() &&
             !p.allowed.empty();
    });
    CHECK(told);
  }
}

std::string parent(const std::string& path) { return path.substr(0, path.rfind('/')); }

}  // namespace

TEST_CASE("a shipped plan with any one field misspelt is refused at that field") {
  for (const auto& name : shipped_plans()) {
    const auto text = slurp(source_dir / "plans" / name);
    for (const auto& f : to_spoil(FieldScanner{text}.fields)) {
      const auto broken = replaced(text, f.key_at + 1, f.key_at + 1, "x_");
      const auto what = name + ": misspelt " + f.path;
      if (chosen_key(f))
        expect(what, broken, uses_of(broken, f.key), "");
      else if (f.key == "do" || f.key == "score")  // without it nobody knows which keys there may be
        expect(what, broken, {place_of(broken, f.object)}, parent(f.path));
      else
        expect(what, broken, {place_of(broken, f.key_at)}, parent(f.path) + "/x_" + f.key);
    }
  }
}

TEST_CASE("a shipped plan with any one field twice is refused at the second") {
  for (const auto& name : shipped_plans()) {
    const auto text = slurp(source_dir / "plans" / name);
    for (const auto& f : to_spoil(FieldScanner{text}.fields)) {
      const auto pair = text.substr(f.key_at, f.end - f.key_at) + ", ";
      const auto broken = replaced(text, f.key_at, f.key_at, pair);
      expect(name + ": twice " + f.path, broken, {place_of(broken, f.key_at + pair.size())}, f.path);
    }
  }
}

TEST_CASE("a shipped plan with any one field of another type is refused at the value") {
  for (const auto& name : shipped_plans()) {
    const auto text = slurp(source_dir / "plans" / name);
    for (const auto& f : to_spoil(FieldScanner{text}.fields)) {
      if (f.key == "$schema") continue;  // is for editors
      for (const std::string other : {"[7]", "true", "null", "{\"x\": 1}"}) {
        if (other == "[7]" && number_lists.count(f.key) > 0) continue;
        if (other == value_of(text, f)) continue;
        if (text[f.value_at] == other[0] && other[0] != 't' && other[0] != 'n' && f.path != "/steps" &&
            f.path != "/criteria") {
          // A list for a list, an object for an object: what is inside is wrong.
          const auto reading = read_plan(replaced(text, f.value_at, f.end, other));
          INFO(name << ": " << f.path << " becomes " << other);
          CHECK_FALSE(reading.plan);
          continue;
        }
        const auto broken = replaced(text, f.value_at, f.end, other);
        const bool list_in_list = text[f.value_at] == other[0];
        const auto offset = list_in_list ? f.value_at + 1 : f.value_at;
        expect(name + ": " + f.path + " becomes " + other, broken, {place_of(broken, offset)},
               f.path + (list_in_list ? "/0" : ""));
      }
    }
  }
}

TEST_CASE("a shipped plan with any one quantity in another unit is refused there, or where its variable is used") {
  int tried = 0;
  for (const auto& name : shipped_plans()) {
    const auto text = slurp(source_dir / "plans" / name);
    for (const auto& f : to_spoil(FieldScanner{text}.fields)) {
      if (!is_quantity(text, f)) continue;
      const auto broken = replaced(text, f.value_at, f.end, "\"1 ohm\"");
      ++tried;
      if (chosen_key(f))
        expect(name + ": unit of " + f.path, broken, uses_of(broken, f.key), "");
      else if (name == "hold-up.json" && f.key == "from")  // held against where it is to go
        expect(name + ": unit of " + f.path, broken, {place_of(broken, broken.find("\"147 ms\""))}, "/steps/0/to");
      else if (name == "lowest-voltage.json" && f.key == "from")
        expect(name + ": unit of " + f.path, broken, {place_of(broken, broken.find("\"4.69 V\""))}, "/steps/0/to");
      else
        expect(name + ": unit of " + f.path, broken, {place_of(broken, f.value_at)}, f.path);
    }
  }
  CHECK(tried > 5);
}

TEST_CASE("a shipped plan without any one needed field is refused, and runs without any other") {
  for (const auto& name : shipped_plans()) {
    const auto text = slurp(source_dir / "plans" / name);
    for (const auto& f : to_spoil(FieldScanner{text}.fields)) {
      const auto broken = without(text, f);
      const auto what = name + ": without " + f.path;
      const bool of_ramp = text.compare(f.object, 13, "{\"do\": \"ramp\"") == 0;
      if (chosen_key(f)) {
        expect(what, broken, uses_of(broken, f.key), "");
      } else if (f.key == "check") {  // its steps are scored
        expect(what, broken, {place_of(broken, broken.find("\"look_slow\""))}, "/criteria/1/steps/0");
      } else if (f.key == "name") {
        // Only a criterion can miss it, or a seek that watches it.
        const auto reading = read_plan(broken);
        const bool asked_for = text.find(value_of(text, f), text.find("\"criteria\"")) != std::string::npos;
        INFO(what << "\n" << reading.sentences());
        CHECK((reading.plan != nullptr) == !asked_for);
        for (const auto& p : reading.problems)
          CHECK((starts_with(p.at.path, "/criteria/") || p.at.path.find("/watched/") != std::string::npos));
      } else if (optional_keys.count(f.key) > 0 || (name == "degraded.json" && f.key == "input") ||
                 starts_with(f.path, "/start/") || (of_ramp && f.key == "for")) {
        const auto reading = read_plan(broken);
        INFO(what << "\n" << reading.sentences());
        CHECK(reading.plan);
      } else if (f.path == "/variables") {
        expect(what, broken, uses_of(broken, "slow"), "");
      } else if (f.path == "/control" || starts_with(f.path, "/control/")) {
        std::vector<Place> places;
        for (auto at = broken.find("\"signal\": \"hand.angle_cmd\""); at != std::string::npos;
             at = broken.find("\"signal\": \"hand.angle_cmd\"", at + 1))
          places.push_back(place_of(broken, at + 10));
        expect(what, broken, places, "");
      } else if (f.key == "input" || f.key == "output") {
        expect(what, broken, {place_of(broken, broken.find("\"signals\": {", f.object - 15) + 11)}, parent(f.path));
      } else {
        expect(what, broken, {place_of(broken, f.object)}, parent(f.path));
      }
    }
  }
}
