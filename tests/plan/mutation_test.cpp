// Every field of every shipped plan deleted, misspelt, doubled, given another type and another unit.

#include <algorithm>
#include <cctype>
#include <set>

#include "tests/plan/demo.hpp"
#include "tests/plan/fields_of_text.hpp"

using namespace trackrod;
using namespace trackrod::test;

namespace {

// Keys without which a plan is still one.
const std::set<std::string> optional_keys{"$schema", "description",  "settle",     "start",  "criteria", "slew",
                                          "jerk",    "acceleration", "conditions", "limits", "rule",     "requirement"};

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
    for (const auto& f : FieldScanner{text}.fields) {
      const auto broken = replaced(text, f.key_at + 1, f.key_at + 1, "x_");
      const auto path = parent(f.path) + "/x_" + f.key;
      if (chosen_key(f))
        expect(name + " misspelt " + f.path, broken, uses_of(broken, f.key), "");
      else if (f.key == "$schema")
        expect(name + " misspelt " + f.path, broken, {place_of(broken, f.key_at)}, path);
      else
        expect(name + " misspelt " + f.path, broken, {place_of(broken, f.key_at)},
               "do" == f.key || "score" == f.key ? "" : path);
    }
  }
}
