// The JSON Schema of plan files, written from the tables that read them.

#include <nlohmann/json.hpp>

#include "harness/plan/criteria.hpp"
#include "harness/plan/parse_plan.hpp"
#include "harness/plan/stimulus.hpp"

namespace trackrod {
namespace {

using nlohmann::json;

const std::string reference = "#/definitions/";

json& definition_of(json& document, const json& schema) {
  return document["definitions"][schema.at("$ref").get<std::string>().substr(reference.size())];
}

// Adds the common keys of a family to each of its kinds, so that "additionalProperties": false holds for both together.
void add_common_keys(json& document, const std::string& family, const std::string& common) {
  const json keys = document["definitions"][common];
  for (const auto& kind : document["definitions"][family]["oneOf"])
    definition_of(document, kind)["properties"].update(keys["properties"]);
  document["definitions"].erase(common);
}

// Each score of the family as a definition of its own: another score may refer to it without the keys of a criterion.
void set_apart(json& document, const std::string& family) {
  for (auto& kind : document["definitions"][family]["oneOf"]) {
    const auto plain = kind.at("$ref").get<std::string>();
    const auto apart = family + "_" + plain.substr(reference.size());
    document["definitions"][apart] = definition_of(document, kind);
    kind["$ref"] = reference + apart;
    if (document.dump().find("\"" + plain + "\"") == std::string::npos)
      document["definitions"].erase(plain.substr(reference.size()));
  }
}

// What a score allows beyond the keys: its roles and its findings.
void add_score(json& criterion, const ScoreEntry& score) {
  json roles{
      {"type", "object"}, {"additionalProperties", false}, {"properties", json::object()}, {"required", json::array()}};
  for (const auto& r : score.roles) {
    roles["properties"][r.name] = {{"type", "string"}, {"description", r.doc}};
    if (r.need == ScoreRole::Need::always) roles["required"].push_back(r.name);
  }
  json findings = json::array();
  for (const auto& f : score.findings) findings.push_back(f.name);
  criterion["properties"]["signals"] = std::move(roles);
  criterion["properties"]["limits"] = {
      {"type", "array"},
      {"items",
       {{"allOf",
         {criterion["properties"]["limits"]["items"], {{"properties", {{"finding", {{"enum", findings}}}}}}}}}}};
  if (score.roles.empty()) return;
  criterion["required"].push_back("steps");
  criterion["required"].push_back("signals");
}

// A variable may stand for any value, or for a part of a text.
void allow_variables(json& j) {
  if (j.is_object() && j.contains("type") && j["type"].is_string()) {
    const auto& type = j["type"];
    const bool restricted = type == "integer" || type == "number" || type == "boolean" ||
                            (type == "string" && (j.contains("pattern") || j.contains("enum")));
    if (restricted) {
      json words = json::object();
      if (j.contains("description")) words["description"] = j["description"];
      j.erase("description");
      words["anyOf"] = {j, {{"type", "string"}, {"pattern", R"(\$\{[A-Za-z][A-Za-z0-9_.-]*\})"}}};
      j = std::move(words);
      return;
    }
  }
  if (j.is_structured())  // else it would be its own only part
    for (auto& part : j) allow_variables(part);
}

}  // namespace

std::string plan_schema(const Catalogue& catalogue) {
  SchemaBook book;
  const auto root = plan_fields().schema(book);
  const auto criterion = book.define("criterion", [&] { return kinds_schema(book, "score", score_kinds(catalogue)); });
  const auto criterion_keys = criterion_fields().schema(book);
  const auto element_keys = element_fields().schema(book);
  auto document = json::parse(book.document("Test plan", root));
  const auto name_of = [](const Schema& s) { return s->at("$ref").get<std::string>().substr(reference.size()); };

  add_common_keys(document, "element", name_of(element_keys));
  set_apart(document, name_of(criterion));
  add_common_keys(document, name_of(criterion), name_of(criterion_keys));
  auto& kinds = document["definitions"]["criterion"]["oneOf"];
  for (std::size_t i = 0; i < catalogue.scores.size(); ++i)
    add_score(definition_of(document, kinds[i]), catalogue.scores[i]);
  auto& plan = definition_of(document, *root)["properties"];
  for (auto& part : document["definitions"]) allow_variables(part);
  plan["criteria"]["items"] = *criterion;
  plan["variables"] = {{"type", "object"},
                       {"description", plan["variables"]["description"]},
                       {"propertyNames", {{"pattern", "^[A-Za-z][A-Za-z0-9_.-]*$"}}},
                       {"additionalProperties", {{"type", {"string", "number"}}}}};
  return document.dump(2) + "\n";
}

}  // namespace trackrod
