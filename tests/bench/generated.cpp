// Every field of the demo bench left out, misspelt, doubled, given the wrong type and the wrong unit. The rules for
// what must be said, and where, are those of `expected` below; beyond them, every problem must stand at a real place,
// and whatever the change, reading must end.

#include <algorithm>
#include <functional>

#include "tests/bench/demo.hpp"
#include "tests/bench/text_writer.hpp"
#include "tests/catch.hpp"
#include "tests/spoilt.hpp"

using namespace trackrod;
using namespace trackrod::test;

namespace {

const Node& demo_tree() {
  static const auto tree = [] {
    Problems problems;
    auto root = parse_json(demo_text(), "bench.json", problems);
    REQUIRE(root);
    return root;
  }();
  return *tree;
}

struct Field {
  std::string path, parent, key;
  const Node* value{nullptr};
  bool in_list{false};
};

std::vector<Field> walked(const Node& root) {
  std::vector<Field> all;
  const std::function<void(const Node&, const std::string&)> walk = [&](const Node& n, const std::string& path) {
    for (const auto& m : n.members) {
      if (m.key == "$schema") continue;  // for editors only
      all.push_back({path + "/" + m.key, path, m.key, &m.value, false});
      walk(m.value, path + "/" + m.key);
    }
    for (std::size_t i = 0; i < n.items.size(); ++i) {
      all.push_back({path + "/" + std::to_string(i), path, std::to_string(i), &n.items[i], true});
      walk(n.items[i], path + "/" + std::to_string(i));
    }
  };
  walk(root, "");
  return all;
}

const std::vector<Field>& all_fields() {
  static const auto all = walked(demo_tree());
  return all;
}

std::size_t depth(const std::string& path) {
  return static_cast<std::size_t>(std::count(path.begin(), path.end(), '/'));
}
bool ends(const std::string& text, const std::string& end) {
  return text.size() >= end.size() && text.compare(text.size() - end.size(), end.size(), end) == 0;
}
bool begins(const std::string& text, const std::string& start) { return text.compare(0, start.size(), start) == 0; }

// True when the author of the file chose the key: the entries of a dictionary.
bool is_name(const Field& f) {
  if (depth(f.path) == 2)
    return begins(f.path, "/devices/") || begins(f.path, "/signals/") || begins(f.path, "/axes/") ||
           begins(f.path, "/interlocks/") || begins(f.path, "/faults/");
  if (depth(f.path) == 3 && begins(f.path, "/fixture/")) return true;
  for (const auto* dictionary : {"/fields", "/settings", "/readings", "/receive", "/send"})
    if (begins(f.path, "/devices/") && ends(f.parent, dictionary)) return true;
  return false;
}

// Keys that may be left out, by what they belong to (the rest of the path).
bool is_optional(const Field& f) {
  const auto in = [&](const std::string& start, std::initializer_list<const char*> keys) {
    return begins(f.path, start) && std::any_of(keys.begin(), keys.end(), [&](const char* k) { return f.key == k; });
  };
  if (f.path == "/description" || f.path == "/axes" || f.path == "/arming" || f.path == "/vehicle" ||
      f.path == "/fixture" || f.path == "/faults" || f.path == "/load" || f.path == "/load/stability" ||
      f.path == "/load/energy")
    return true;
  if (ends(f.path, "/send/command/cycle") || ends(f.path, "/send/vehicle/cycle")) return false;
  if (depth(f.path) == 3 && f.key == "timeout") return false;
  return in("/unit/", {"serial", "description"}) ||
         in("/devices/", {"clock_asymmetry", "receive", "send", "fields", "settings", "readings", "match", "counter",
                          "checksum", "order", "signed", "scale", "cycle", "read_back", "tolerance", "digits",
                          "error_query", "timeout", "baud"}) ||
         in("/signals/", {"location", "positive", "bench_owned", "delay", "calibration", "gain", "offset", "gain_u",
                          "due", "certificate", "max_slew", "no_value", "rest", "start_from"}) ||
         in("/fixture/", {"clamped", "equipment", "measures", "rack_curve", "wires", "stiffness", "inertia", "due",
                          "certificate", "checked"}) ||
         in("/axes/", {"position", "torque", "free"}) || in("/interlocks/", {"at_least", "at_most"}) ||
         in("/faults/", {"at_least", "at_most"}) || in("/arming/", {"at_least", "at_most"}) ||
         in("/safe_state/", {"at_least", "at_most"});
}

// Where a name is used: paths of the values.
std::vector<std::string> uses_of(const Field& f) {
  std::vector<std::string> uses;
  std::vector<std::string> fields;  // names of device fields that go with it
  for (const auto& g : all_fields())
    if (begins(g.path, "/devices/") && (g.path == f.path || begins(g.path, f.path + "/")) && is_name(g) &&
        (ends(g.parent, "/fields") || ends(g.parent, "/settings") || ends(g.parent, "/readings")))
      fields.push_back(g.key);
  const bool device = depth(f.path) == 2 && begins(f.path, "/devices/"),
             signal = depth(f.path) == 2 && begins(f.path, "/signals/");
  const auto device_name = begins(f.path, "/devices/") ? f.path.substr(9, f.path.find('/', 9) - 9) : "";
  for (const auto& g : all_fields()) {
    if (g.value->kind != Node::Kind::text) continue;
    const bool of_signal = begins(g.path, "/signals/") && depth(g.path) == 3;
    if (device && of_signal && g.key == "device" && g.value->text == f.key) uses.push_back(g.path);
    if (signal && g.value->text == f.key && g.path != f.path && !begins(g.path, f.path + "/") &&
        (g.key == "set" || g.key == "wait" || g.key == "signal" || g.key == "setpoint" || g.key == "mode_signal" ||
         g.key == "start_from" || ((g.key == "speed" || g.key == "power_mode") && g.parent == "/vehicle") ||
         ((g.key == "angle" || g.key == "speed" || g.key == "force") && g.parent == "/load") ||
         (g.key == "force" && g.parent == "/load/energy")))
      uses.push_back(g.path);
    if (!device && !signal && of_signal && g.key == "field" &&
        std::count(fields.begin(), fields.end(), g.value->text) &&
        demo_tree().find("signals")->find(g.path.substr(9, g.path.find('/', 9) - 9))->find("device")->text ==
            device_name)
      uses.push_back(g.path);
  }
  return uses;
}

struct Expected {
  std::vector<std::string> values;  // a problem at the value of each of these paths
  std::vector<std::string> keys;    // a problem at the key of each of these
  std::string said;                 // in each of their sentences
};

Expected expected_when_removed(const Field& f) {
  if (is_name(f) || (is_optional(f) && f.value->kind == Node::Kind::object && begins(f.path, "/devices/")))
    return {uses_of(f), {}, ""};
  if (f.path == "/signals" || f.path == "/devices") return {{""}, {}, "no " + f.key.substr(0, f.key.size() - 1)};
  if (f.key == "signed") {  // every signed field of the demo bench carries negative values
    Expected e{{}, {}, "can hold"};
    for (auto& use : uses_of({f.parent, f.parent.substr(0, f.parent.rfind('/')),
                              f.parent.substr(f.parent.rfind('/') + 1), nullptr, false}))
      e.values.push_back(use.substr(0, use.rfind('/')) + "/range/0");
    return e;
  }
  // Read in little order, the bits that were laid out in big order overlap.
  if (f.key == "order") return {{f.parent + "/counter/start"}, {}, "belongs to 'match'"};
  if (f.key == "set" || f.key == "wait") return {{f.parent}, {}, "neither 'set' nor 'wait'"};
  if (f.key == "rest" || f.key == "start_from") return {{f.parent}, {}, "neither 'rest' nor 'start_from'"};
  if (f.key == "bench_owned") {
    Expected e{{}, {}, "not measured by the bench itself"};
    const auto signal = f.parent.substr(9);
    for (const auto& g : all_fields())
      if (g.value->kind == Node::Kind::text && g.value->text == signal &&
          (((begins(g.path, "/interlocks/") || ends(g.parent, "/shows")) && g.key == "signal") ||
           g.path == "/load/angle" || g.path == "/load/energy/force"))
        e.values.push_back(g.path);
    return e;
  }
  if ((f.key == "at_most" || f.key == "at_least") && !begins(f.path, "/load/")) {
    const auto* parent = &demo_tree();
    for (std::size_t at = 1; at <= f.parent.size();) {  // "/a/b" -> a, b
      const auto next = std::min(f.parent.find('/', at), f.parent.size());
      const auto part = f.parent.substr(at, next - at);
      parent = parent->kind == Node::Kind::list ? &parent->items[std::stoul(part)] : parent->find(part);
      at = next + 1;
    }
    if (parent->find("at_most") && parent->find("at_least")) return {};
    return {{f.parent}, {}, "neither 'at_least' nor 'at_most'"};
  }
  if (f.path == "/signals/road.load_cmd/max_slew") return {{"/load/force"}, {}, "no 'max_slew'"};
  if (f.key == "shows") return {{f.parent + "/make"}, {}, "without 'shows'"};
  if (f.key == "power_mode" || f.key == "power_on") return {{f.parent}, {}, "without"};  // both or neither
  if (is_optional(f)) return {};
  if (f.key == "cycle") return {{}, {f.parent}, "nothing says when"};  // 'on_change' would do as well
  return {{f.parent}, {}, "'" + f.key + "' is missing"};
}

Expected expected(const Field& f, Change change) {
  switch (change) {
    case Change::remove:
      return expected_when_removed(f);
    case Change::misspell:
      if (ends(f.parent, "/receive") || ends(f.parent, "/send")) return {};  // nothing refers to a frame by its name
      if (is_name(f)) return {uses_of(f), {}, "'" + f.key + "'"};
      if (f.key == "kind") return {{f.parent}, {}, "'kind' is missing"};
      if (f.key == "set" || f.key == "wait") return {{f.parent}, {}, "neither 'set' nor 'wait'"};
      return {{}, {f.parent + "/" + misspelt(f.key)}, "did you mean '" + f.key + "'?"};
    case Change::twice:
      return {{}, {f.path}, "a second time"};
    case Change::wrong_type:
      return {{f.path}, {}, "allowed: "};
    case Change::wrong_unit:
      if (f.key == "unit") return {{f.parent + "/range/0", f.parent + "/range/1"}, {}, "'kg'"};
      return {{f.path}, {}, "'kg'"};
    case Change::none:
      break;
  }
  return {};
}

bool has_unit(const Field& f) {
  if (f.value->kind != Node::Kind::text) return false;
  if (ends(f.parent, "/range")) return true;
  if (begins(f.path, "/fixture/")) return f.key == "stiffness";  // an inertia may be in kg, and 'to' is words
  if (f.path == "/load/vehicle/mass") return false;              // which is in kg
  if (begins(f.path, "/load/vehicle/") || f.parent == "/load/stability")
    return f.value->text.find(' ') != std::string::npos;
  for (const auto* key : {"stale",           "fade",     "loop_rate", "timeout",   "clock_asymmetry",
                          "cycle",           "every",    "unit",      "value",     "u",
                          "offset",          "max_slew", "rest",      "at_least",  "at_most",
                          "grace",           "to",       "within",    "max_speed", "max_acceleration",
                          "max_deceleration"})
    if (f.key == key) return true;
  return false;
}

void check_change(const Field& f, Change change) {
  const TextWriter written{demo_tree(), change, f.path};
  const auto read = parse(written.text());
  const auto want = expected(f, change);
  INFO("at " << f.path << ", found:\n" << read.sentences());
  bool good = true;
  for (const auto& p : read.problems) good = good && written.stands_at(p.at.path, {p.at.line, p.at.column});
  const auto told_at = [&](const std::string& path, Place place) {
    return std::any_of(read.problems.begin(), read.problems.end(), [&](const Problem& p) {
      return p.at.path == path && Place{p.at.line, p.at.column} == place &&
             p.sentence().find(want.said) != std::string::npos;
    });
  };
  for (const auto& path : want.values) good = good && told_at(path, written.value_at(path));
  for (const auto& path : want.keys) good = good && told_at(path, written.key_at(path));
  if (want.values.empty() && want.keys.empty())
    good = good && read.bench != nullptr;
  else
    good = good && read.bench == nullptr;
  CHECK(good);
}

}  // namespace

TEST_CASE("the demo bench written anew is still a bench") {
  CHECK(parse(TextWriter{demo_tree(), Change::none, ""}.text()).bench);
}

TEST_CASE("a field left out is told where it is missed: at its object, or at what refers to it") {
  for (const auto& f : to_spoil(all_fields()))
    if (!f.in_list) check_change(f, Change::remove);
}

TEST_CASE("a misspelt key is told at the key with the right one, a misspelt name at every use of it") {
  for (const auto& f : to_spoil(all_fields()))
    if (!f.in_list) check_change(f, Change::misspell);
}

TEST_CASE("a key that stands twice is told at the second") {
  for (const auto& f : to_spoil(all_fields()))
    if (!f.in_list) check_change(f, Change::twice);
}

TEST_CASE("a value of the wrong type is told at the value") {
  for (const auto& f : to_spoil(all_fields())) check_change(f, Change::wrong_type);
}

TEST_CASE("a quantity of the wrong dimension is told at the value, and a wrong unit of a signal at its range") {
  std::size_t changed = 0;
  for (const auto& f : to_spoil(all_fields())) {
    if (!has_unit(f) || f.path == "/unit") continue;
    check_change(f, Change::wrong_unit);
    ++changed;
  }
  CHECK(changed > 10);
}
