#pragma once
// Writes a JSON tree as text, with one change in it, and notes where everything stands: places that the reader of bench
// files must agree with, found without it.

#include <map>
#include <set>
#include <string>
#include <utility>

#include "harness/base/node.hpp"

namespace trackrod::test {

struct Place {
  int line{0}, column{0};
  auto operator<=>(const Place&) const = default;
};

enum class Change { none, remove, misspell, twice, wrong_type, wrong_unit };

// The key with a slip that every suggestion must see through.
inline std::string misspelt(const std::string& key) {
  return key.size() < 4 ? key + "q" : key.substr(0, key.size() - 1) + "q" + key.back();
}

class TextWriter {
 public:
  // Changes the value at `path`, or the key that leads to it.
  TextWriter(const Node& root, Change change, std::string path) : change_{change}, target_{std::move(path)} {
    value(root, "");
  }

  const std::string& text() const { return text_; }
  // Where the value of that path starts, and its key.
  Place value_at(const std::string& path) const { return values_.count(path) ? *values_.at(path).rbegin() : Place{}; }
  Place key_at(const std::string& path) const { return keys_.count(path) ? *keys_.at(path).rbegin() : Place{}; }
  bool stands_at(const std::string& path, Place place) const {
    return (values_.count(path) && values_.at(path).count(place)) || (keys_.count(path) && keys_.at(path).count(place));
  }

 private:
  void put(const std::string& s) {
    text_ += s;
    for (const char c : s) {
      ++here_.column;
      if (c == '\n') here_ = {here_.line + 1, 1};
    }
  }
  static std::string quoted(const std::string& s) {
    std::string out{"\""};
    for (const char c : s) {
      if (c == '"' || c == '\\') out += '\\';
      out += c;
    }
    return out + '"';
  }
  static std::string of_wrong_type(const Node& n) {
    switch (n.kind) {
      case Node::Kind::text:
        return "[]";
      case Node::Kind::number:
        return "\"seven\"";
      case Node::Kind::boolean:
        return "3";
      case Node::Kind::list:
        return "true";
      default:
        return "7";
    }
  }
  void member(const Node::Member& m, const std::string& path, bool changed) {
    const auto key = changed && change_ == Change::misspell ? misspelt(m.key) : m.key;
    const auto own = path + "/" + key;
    keys_[own].insert(here_);
    put(quoted(key) + ": ");
    value(m.value, own);
  }
  void members(const Node& n, const std::string& path) {
    const char* between = "\n";
    for (const auto& m : n.members) {
      const bool changed = path + "/" + m.key == target_;
      if (changed && change_ == Change::remove) continue;
      for (int times = changed && change_ == Change::twice ? 2 : 1; times > 0; --times) {
        put(between);
        member(m, path, changed);
        between = ",\n  ";
      }
    }
  }
  void value(const Node& n, const std::string& path) {
    values_[path].insert(here_);
    if (path == target_ && change_ == Change::wrong_type) return put(of_wrong_type(n));
    if (path == target_ && change_ == Change::wrong_unit) return put(path.ends_with("/unit") ? "\"kg\"" : "\"1 kg\"");
    switch (n.kind) {
      case Node::Kind::null:
        return put("null");
      case Node::Kind::boolean:
        return put(n.boolean ? "true" : "false");
      case Node::Kind::number:
        return put(n.text);
      case Node::Kind::text:
        return put(quoted(n.text));
      case Node::Kind::list:
        put("[");
        for (std::size_t i = 0; i < n.items.size(); ++i) {
          if (i > 0) put(", ");
          value(n.items[i], path + "/" + std::to_string(i));
        }
        return put("]");
      case Node::Kind::object:
        put("{");
        members(n, path);
        return put("\n}");
    }
  }

  Change change_;
  std::string target_, text_;
  Place here_{1, 1};
  std::map<std::string, std::set<Place>> values_, keys_;
};

}  // namespace trackrod::test
