#include "harness/report/findings_json.hpp"

#include <cmath>
#include <limits>
#include <nlohmann/json.hpp>

#include "harness/base/node.hpp"

namespace trackrod {
namespace {

using Json = nlohmann::ordered_json;

constexpr auto infinity = std::numeric_limits<double>::infinity();

Json number_or_null(double value) { return std::isfinite(value) ? Json(value) : Json(nullptr); }
Json text_or_null(const std::string& text) { return text.empty() ? Json(nullptr) : Json(text); }

struct LimitName {
  Limit::Kind kind;
  const char* name;
};
constexpr LimitName limit_names[] = {
    {Limit::Kind::at_most, "at_most"}, {Limit::Kind::at_least, "at_least"}, {Limit::Kind::within, "within"}};
constexpr Verdict verdicts[] = {Verdict::pass, Verdict::fail, Verdict::inconclusive, Verdict::not_run,
                                Verdict::invalid};

Json limit_json(const std::optional<Limit>& limit) {
  if (!limit) return nullptr;
  Json out;
  out["kind"] = limit_kind_name(limit->kind);
  if (limit->kind != Limit::Kind::at_most) out["low"] = number_or_null(limit->low);
  if (limit->kind != Limit::Kind::at_least) out["high"] = number_or_null(limit->high);
  return out;
}

Json budget_json(const std::vector<Contribution>& budget) {
  auto out = Json::array();
  for (const auto& c : budget) {
    Json line;
    line["name"] = c.name;
    line["standard_uncertainty"] = number_or_null(c.standard_uncertainty);
    line["degrees_of_freedom"] = number_or_null(c.degrees_of_freedom);
    line["type"] = std::string(1, c.type);
    line["distribution"] = c.distribution;
    line["group"] = text_or_null(c.group);
    out.push_back(std::move(line));
  }
  return out;
}

Json finding_json(const Finding& f) {
  const bool has_value = f.value && std::isfinite(*f.value);
  const bool has_interval = f.interval && std::isfinite((*f.interval)[0]) && std::isfinite((*f.interval)[1]);
  Json out;
  out["name"] = f.name;
  out["step"] = f.step;
  out["signals"] = f.signals;
  out["conditions"] = Json::object();
  for (const auto& [what, value] : f.conditions) out["conditions"][what] = value;
  out["value"] = has_value ? Json(*f.value) : Json(nullptr);
  out["unit"] = f.unit;
  out["standard_uncertainty"] = f.standard_uncertainty ? number_or_null(*f.standard_uncertainty) : Json(nullptr);
  out["interval"] = has_interval ? Json::array({(*f.interval)[0], (*f.interval)[1]}) : Json(nullptr);
  out["coverage"] = number_or_null(f.coverage);
  out["limit"] = limit_json(f.limit);
  out["rule"] = text_or_null(f.rule);
  out["requirement"] = text_or_null(f.requirement);
  out["verdict"] = f.judged ? Json(verdict_name(f.verdict)) : Json(nullptr);
  out["reason"] =
      f.reason.empty() && !has_value ? Json("the score gave no number and no reason") : text_or_null(f.reason);
  out["budget"] = budget_json(f.budget);
  return out;
}

// Reads one object; what is missing or of the wrong kind goes to `problems`.
class Reader {
 public:
  Reader(const Node& object, Problems& problems) : object_{object}, problems_{problems} {
    if (object.kind != Node::Kind::object) problems.add(object.at, object.kind_name(), "an object");
  }
  // The value of `key`, of this kind; null when it is null (where that is allowed) or wrong.
  const Node* get(const char* key, Node::Kind kind, const char* allowed, bool may_be_null = false) {
    if (object_.kind != Node::Kind::object) return nullptr;
    const auto* value = object_.find(key);
    if (!value) {
      problems_.add(object_.at, "no '" + std::string{key} + "'", allowed, "was the file cut short or written by hand?");
      return nullptr;
    }
    if (value->kind == kind) return value;
    if (value->kind != Node::Kind::null || !may_be_null)
      problems_.add(value->at, value->kind_name() + " " + value->shown(),
                    std::string{allowed} + (may_be_null ? " or null" : ""));
    return nullptr;
  }
  std::string text(const char* key, bool may_be_null = false) {
    const auto* value = get(key, Node::Kind::text, "a text", may_be_null);
    return value ? value->text : "";
  }
  std::optional<double> number(const char* key, bool may_be_null) {
    const auto* value = get(key, Node::Kind::number, "a number", may_be_null);
    return value ? std::optional{value->number} : std::nullopt;
  }
  void wrong(const char* key, const std::string& allowed) {
    const auto* value = object_.find(key);
    problems_.add(value ? value->at : object_.at, value ? value->shown() : "nothing", allowed);
  }

 private:
  const Node& object_;
  Problems& problems_;
};

std::optional<Limit> read_limit(const Node& node, Problems& problems) {
  Reader reader{node, problems};
  const auto kind = reader.text("kind");
  if (const auto known = limit_kind_named(kind)) {
    Limit limit{*known, 0.0, 0.0};
    if (*known != Limit::Kind::at_most) limit.low = reader.number("low", false).value_or(0.0);
    if (*known != Limit::Kind::at_least) limit.high = reader.number("high", false).value_or(0.0);
    return limit;
  }
  if (!kind.empty()) reader.wrong("kind", one_of({"at_most", "at_least", "within"}));
  return std::nullopt;
}

Contribution read_contribution(const Node& node, Problems& problems) {
  Reader reader{node, problems};
  Contribution out;
  out.name = reader.text("name");
  out.standard_uncertainty = reader.number("standard_uncertainty", true).value_or(std::nan(""));
  out.degrees_of_freedom = reader.number("degrees_of_freedom", true).value_or(infinity);
  const auto type = reader.text("type");
  if (type != "A" && type != "B") reader.wrong("type", "'A' or 'B'");
  out.type = type == "A" ? 'A' : 'B';
  out.distribution = reader.text("distribution");
  out.group = reader.text("group", true);
  return out;
}

void read_verdict(Reader& reader, Finding& out) {
  const auto name = reader.text("verdict", true);
  if (name.empty()) return;
  if (const auto verdict = verdict_named(name)) {
    out.verdict = *verdict;
    out.judged = true;
    return;
  }
  std::vector<std::string> known;
  for (const auto v : verdicts) known.push_back(verdict_name(v));
  reader.wrong("verdict", one_of(known) + " or null");
}

void read_lists(Reader& reader, Finding& out, Problems& problems) {
  if (const auto* signals = reader.get("signals", Node::Kind::list, "a list of names"))
    for (const auto& s : signals->items) {
      if (s.kind != Node::Kind::text) problems.add(s.at, s.kind_name(), "a name");
      out.signals.push_back(s.text);
    }
  if (const auto* conditions = reader.get("conditions", Node::Kind::object, "an object"))
    for (const auto& m : conditions->members) {
      if (m.value.kind != Node::Kind::text) problems.add(m.value.at, m.value.kind_name(), "a text");
      out.conditions.emplace_back(m.key, m.value.text);
    }
  if (const auto* interval = reader.get("interval", Node::Kind::list, "a list of two numbers", true)) {
    const auto& ends = interval->items;
    if (ends.size() == 2 && ends[0].kind == Node::Kind::number && ends[1].kind == Node::Kind::number)
      out.interval = {ends[0].number, ends[1].number};
    else
      problems.add(interval->at, interval->shown(), "two numbers or null");
  }
  if (const auto* budget = reader.get("budget", Node::Kind::list, "a list"))
    for (const auto& line : budget->items) out.budget.push_back(read_contribution(line, problems));
}

Finding read_finding(const Node& node, Problems& problems) {
  Reader reader{node, problems};
  Finding out;
  out.name = reader.text("name");
  out.step = reader.text("step");
  out.value = reader.number("value", true);
  out.unit = reader.text("unit");
  out.standard_uncertainty = reader.number("standard_uncertainty", true);
  out.coverage = reader.number("coverage", true).value_or(std::nan(""));
  if (const auto* limit = reader.get("limit", Node::Kind::object, "an object", true))
    out.limit = read_limit(*limit, problems);
  out.rule = reader.text("rule", true);
  out.requirement = reader.text("requirement", true);
  out.reason = reader.text("reason", true);
  read_verdict(reader, out);
  read_lists(reader, out, problems);
  return out;
}

Error first_of(const Problems& problems) {
  const auto all = problems.sorted();
  auto sentence = all.front().sentence();
  if (all.size() > 1) sentence += " (and " + std::to_string(all.size() - 1) + " more)";
  return {Fault::bad_input, sentence, {}};
}

}  // namespace

std::string write_findings(const std::vector<Finding>& findings) {
  Json out;
  out["findings"] = Json::array();
  for (const auto& f : findings) out["findings"].push_back(finding_json(f));
  return out.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

Result<std::vector<Finding>> read_findings(const std::string& text, const std::string& file) {
  Problems problems;
  std::vector<Finding> out;
  const auto root = parse_json(text, file, problems);
  if (root) {
    Reader reader{*root, problems};
    if (const auto* list = reader.get("findings", Node::Kind::list, "a list of findings"))
      for (const auto& f : list->items) out.push_back(read_finding(f, problems));
  }
  if (!problems.none()) return tl::unexpected(first_of(problems));
  return out;
}

std::string limit_kind_name(Limit::Kind kind) {
  for (const auto& l : limit_names)
    if (l.kind == kind) return l.name;
  return "";
}

std::optional<Limit::Kind> limit_kind_named(const std::string& name) {
  for (const auto& l : limit_names)
    if (name == l.name) return l.kind;
  return std::nullopt;
}

std::optional<Verdict> verdict_named(const std::string& name) {
  for (const auto v : verdicts)
    if (name == verdict_name(v)) return v;
  return std::nullopt;
}

}  // namespace trackrod
