#include "harness/base/node.hpp"

#include <cctype>
#include <nlohmann/json.hpp>

namespace trackrod {

const Node* Node::find(std::string_view key) const {
  for (const auto& m : members)
    if (m.key == key) return &m.value;
  return nullptr;
}

std::string Node::kind_name() const {
  switch (kind) {
    case Kind::null: return "null";
    case Kind::boolean: return "true or false";
    case Kind::number: return "a number";
    case Kind::text: return "a text";
    case Kind::list: return "a list";
    case Kind::object: return "an object";
  }
  return "";
}

std::string Node::shown() const {
  switch (kind) {
    case Kind::null: return "null";
    case Kind::boolean: return boolean ? "true" : "false";
    case Kind::number: return text;
    case Kind::text: return '"' + (text.size() > 60 ? text.substr(0, 57) + "..." : text) + '"';
    case Kind::list: return "a list of " + std::to_string(items.size());
    case Kind::object: return "an object";
  }
  return "";
}

namespace {

using Json = nlohmann::json;

// Follows the parser through the text to know where each token starts: the library's events carry no position.
class Places {
 public:
  Places(const std::string& text, const std::string& file) : text_{text}, file_{file} {}

  // The next token's place; moves past it.
  Where next() {
    skip_filler();
    const Where here{file_, line_, static_cast<int>(pos_ - line_start_) + 1, {}};
    skip_token();
    return here;
  }
  Where at_byte(std::size_t byte) const {
    Where w{file_, 1, 1, {}};
    for (std::size_t i = 0; i < byte && i < text_.size(); ++i) {
      if (text_[i] == '\n') {
        ++w.line;
        w.column = 1;
      } else {
        ++w.column;
      }
    }
    return w;
  }

 private:
  bool is(char c, std::size_t ahead = 0) const { return pos_ + ahead < text_.size() && text_[pos_ + ahead] == c; }
  void step() {
    if (text_[pos_] == '\n') {
      ++line_;
      line_start_ = pos_ + 1;
    }
    ++pos_;
  }
  void skip_filler() {
    if (pos_ == 0 && text_.compare(0, 3, "\xEF\xBB\xBF") == 0) pos_ = line_start_ = 3;
    while (pos_ < text_.size()) {
      const char c = text_[pos_];
      if (c == '/' && is('/', 1)) {
        while (pos_ < text_.size() && text_[pos_] != '\n') step();
      } else if (c == '/' && is('*', 1)) {
        step(), step();
        while (pos_ < text_.size() && !(is('*') && is('/', 1))) step();
        if (pos_ + 1 < text_.size()) step(), step();
      } else if (c == ',' || c == ':' || std::isspace(static_cast<unsigned char>(c))) {
        step();
      } else {
        return;
      }
    }
  }
  void skip_token() {
    if (pos_ >= text_.size()) return;
    if (is('"')) {
      for (step(); pos_ < text_.size() && !is('"'); step())
        if (is('\\')) step();
      if (pos_ < text_.size()) step();
    } else if (is('{') || is('}') || is('[') || is(']')) {
      step();
    } else {
      while (pos_ < text_.size() && (std::isalnum(static_cast<unsigned char>(text_[pos_])) || is('+') || is('-') || is('.')))
        step();
    }
  }

  const std::string& text_;
  const std::string& file_;
  std::size_t pos_{0}, line_start_{0};
  int line_{1};
};

class Builder final : public nlohmann::json_sax<Json> {
 public:
  Builder(const std::string& text, const std::string& file, Problems& problems)
      : places_{text, file}, problems_{problems}, root_{std::make_unique<Node>()} {}

  bool null() override { return scalar(Node::Kind::null), true; }
  bool boolean(bool v) override {
    scalar(Node::Kind::boolean).boolean = v;
    return true;
  }
  bool number_integer(number_integer_t v) override { return whole(static_cast<double>(v), std::to_string(v)); }
  bool number_unsigned(number_unsigned_t v) override { return whole(static_cast<double>(v), std::to_string(v)); }
  bool number_float(number_float_t v, const string_t& written) override {
    auto& n = scalar(Node::Kind::number);
    n.number = v;
    n.text = written;
    return true;
  }
  bool string(string_t& v) override {
    scalar(Node::Kind::text).text = v;
    return true;
  }
  bool binary(binary_t&) override { return false; }
  bool start_object(std::size_t) override { return open(Node::Kind::object); }
  bool start_array(std::size_t) override { return open(Node::Kind::list); }
  bool end_object() override { return close(); }
  bool end_array() override { return close(); }
  bool key(string_t& k) override {
    auto at = places_.next();
    auto& object = *open_.back();
    at.path = object.at.path + "/" + k;
    if (const auto* first = object.find(k))
      problems_.add(at, "the key '" + k + "' a second time",
                    "each key once", "the first is in line " + std::to_string(first->at.line) + "; remove one of them");
    object.members.push_back({k, at, {}});
    return true;
  }
  bool parse_error(std::size_t byte, const std::string& last, const nlohmann::detail::exception& e) override {
    auto where = places_.at_byte(byte > 0 ? byte - 1 : 0);
    std::string what = e.what();
    if (const auto colon = what.rfind("; "); colon != std::string::npos) what = what.substr(colon + 2);
    problems_.add(where, "no valid JSON at '" + last + "'", "JSON; // and /* */ comments, no trailing comma", what);
    return false;
  }

  std::unique_ptr<Node> take() { return std::move(root_); }

 private:
  Node& place() {
    auto at = places_.next();
    Node* n = root_.get();
    if (!open_.empty()) {
      auto& parent = *open_.back();
      if (parent.kind == Node::Kind::list) {
        at.path = parent.at.path + "/" + std::to_string(parent.items.size());
        n = &parent.items.emplace_back();
      } else {
        at.path = parent.at.path + "/" + parent.members.back().key;
        n = &parent.members.back().value;
      }
    }
    n->at = std::move(at);
    return *n;
  }
  Node& scalar(Node::Kind kind) {
    auto& n = place();
    n.kind = kind;
    return n;
  }
  bool whole(double v, std::string written) {
    auto& n = scalar(Node::Kind::number);
    n.number = v;
    n.integral = true;
    n.text = std::move(written);
    return true;
  }
  // A parent's children grow only while the parent is the innermost open node, so these pointers stay valid.
  bool open(Node::Kind kind) {
    open_.push_back(&scalar(kind));
    return true;
  }
  bool close() {
    places_.next();
    open_.pop_back();
    return true;
  }

  Places places_;
  Problems& problems_;
  std::unique_ptr<Node> root_;
  std::vector<Node*> open_;
};

}  // namespace

std::unique_ptr<Node> parse_json(const std::string& text, const std::string& file, Problems& problems) {
  Builder builder{text, file, problems};
  if (!Json::sax_parse(text, &builder, Json::input_format_t::json, true, true)) return nullptr;
  return builder.take();
}

}  // namespace trackrod
