#include "harness/plan/variables.hpp"

#include <charconv>

#include "harness/base/fields.hpp"

namespace trackrod {
namespace {

using Values = VariableValues;

std::vector<std::string> names_of(const Values& values) {
  std::vector<std::string> names;
  for (const auto& [name, value] : values) names.push_back(name);
  return names;
}

std::string allowed(const Values& values) {
  return values.empty() ? "no variable, the plan has none under 'variables'"
                        : "a variable of the plan: " + one_of(names_of(values));
}

Values defaults(const Node& root, Problems& problems) {
  Values values;
  const auto* section = root.find("variables");
  if (section == nullptr) return values;
  if (section->kind != Node::Kind::object)
    detail::complain_kind(*section, "an object (names and their values)", problems);
  for (const auto& m : section->members) {
    const bool text = m.value.kind == Node::Kind::text, nested = text && m.value.text.find("${") != std::string::npos;
    if (nested || (!text && m.value.kind != Node::Kind::number))
      problems.add(m.value.at, "found " + m.value.shown(), "a text without other variables, or a number");
    values.emplace(m.key, m.value);
  }
  return values;
}

// The number that `text` is as a whole.
bool to_number(const std::string& text, Node& out) {
  const char* const end = text.data() + text.size();
  const auto [rest, error] = std::from_chars(text.data(), end, out.number);
  out.text = text;
  out.integral = text.find_first_of(".eEnN") == std::string::npos;
  return error == std::errc{} && rest == end;
}

void assign(Values& values, const Assignments& set, const Where& place, Problems& problems) {
  for (const auto& [name, text] : set) {
    const auto at = values.find(name);
    if (at == values.end()) {
      problems.add(place, "--set " + name + "=" + text, allowed(values), did_you_mean(name, names_of(values)));
    } else if (at->second.kind != Node::Kind::number) {
      at->second.kind = Node::Kind::text;
      at->second.text = text;
    } else if (!to_number(text, at->second)) {
      problems.add(at->second.at, "--set " + name + "=" + text, "a number, as the default of '" + name + "' is one");
    }
  }
}

class Replacer {
 public:
  // Without `problems`, what is not known stays.
  Replacer(const Values& values, Problems* problems) : values_{values}, problems_{problems} {}

  void walk(Node& n) {
    if (n.kind == Node::Kind::text) replace(n);
    for (auto& item : n.items) walk(item);
    for (auto& m : n.members) walk(m.value);
  }

 private:
  void replace(Node& n) {
    std::string out;
    std::size_t from = 0;
    for (auto open = n.text.find("${"); open != std::string::npos; open = n.text.find("${", from)) {
      const auto shut = n.text.find('}', open);
      if (shut == std::string::npos) {
        if (problems_ == nullptr) break;
        problems_->add(n.at, "'${' without '}' in " + n.shown(), "\"${name}\"");
        return;
      }
      const auto name = n.text.substr(open + 2, shut - open - 2);
      const auto value = values_.find(name);
      if (value == values_.end()) {
        if (problems_ == nullptr) {
          out += n.text.substr(from, shut + 1 - from);
          from = shut + 1;
          continue;
        }
        problems_->add(n.at, "unknown variable '" + name + "' in " + n.shown(), allowed(values_),
                       did_you_mean(name, names_of(values_)));
        return;
      }
      if (open == 0 && shut + 1 == n.text.size()) {
        take(n, value->second);
        return;
      }
      out += n.text.substr(from, open - from) + value->second.text;
      from = shut + 1;
    }
    n.text = out + n.text.substr(from);
  }
  static void take(Node& n, const Node& value) {
    n.kind = value.kind;
    n.text = value.text;
    n.number = value.number;
    n.integral = value.integral;
  }
  const Values& values_;
  Problems* problems_;
};

}  // namespace

void replace_known(Node& n, const VariableValues& values) { Replacer{values, nullptr}.walk(n); }

void replace_variables(Node& root, const Assignments& set, Problems& problems) {
  auto values = defaults(root, problems);
  const auto* section = root.find("variables");
  assign(values, set, section != nullptr ? section->at : root.at, problems);
  Replacer replacer{values, &problems};
  for (auto& m : root.members)
    if (m.key != "variables") replacer.walk(m.value);
}

}  // namespace trackrod
