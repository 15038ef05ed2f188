#include "harness/base/node.hpp"

#include <algorithm>
#include <cctype>
#include <nlohmann/json.hpp>
#include <utility>

namespace trackrod {

const Node* Node::find(std::string_view key) const {
  for (const auto& m : members)
    if (m.key == key) return &m.value;
  return nullptr;
}

std::string Node::kind_name() const {
  switch (kind) {
    case Kind::null:
      return "null";
    case Kind::boolean:
      return "true or false";
    case Kind::number:
      return "a number";
    case Kind::text:
      return "a text";
    case Kind::list:
      return "a list";
    case Kind::object:
      return "an object";
  }
  return "";
}

std::string Node::shown() const {
  switch (kind) {
    case Kind::null:
      return "null";
    case Kind::boolean:
      return boolean ? "true" : "false";
    case Kind::number:
      return text;
    case Kind::text:
      return '"' + (text.size() > 60 ? text.substr(0, 57) + "..." : text) + '"';
    case Kind::list:
      return "a list of " + std::to_string(items.size());
    case Kind::object:
      return "an object";
  }
  return "";
}

namespace {

using Json = nlohmann::json;

// Nested deeper than any file of ours; beyond it, walking the tree would overflow the stack.
constexpr std::size_t deepest = 64;

// Follows the parser through the text to know where each token starts: the library's events carry no position.
class Places {
 public:
  Places(const std::string& text, const std::string& file) : text_{text}, file_{file} {}

  // The next token's place; moves past it.
  Where next() {
    skip_filler();
    last_pos_ = pos_;
    last_ = place();
    skip_token();
    return last_;
  }
  // The place of what the parser stumbled over after it had read `bytes` of the text, and that piece of text: the next
  // token, or a comma, colon or comment before it.
  std::pair<Where, std::string> stumble(std::size_t bytes) {
    if (pos_ >= bytes && pos_ < text_.size()) return {last_, quoted(last_pos_, pos_)};  // within the last one: "01"
    auto ahead = *this;
    ahead.skip_filler();
    if (ahead.pos_ < bytes || bytes >= text_.size()) {
      pos_ = ahead.pos_;
      line_ = ahead.line_;
      column_ = ahead.column_;
    } else {
      while (pos_ + 1 < bytes) step();
    }
    if (pos_ >= text_.size()) return {place(), "the end of the file"};
    const auto from = pos_;
    const auto where = place();
    skip_token();
    return {where, quoted(from, std::max(from + 1, std::min(pos_, bytes)))};
  }

 private:
  bool is(char c, std::size_t ahead = 0) const { return pos_ + ahead < text_.size() && text_[pos_ + ahead] == c; }
  // One line of the text, shortened for a message.
  std::string quoted(std::size_t from, std::size_t to) const {
    std::string piece{"'"};
    piece.append(text_, from, std::min({to - from, text_.find('\n', from + 1) - from, std::size_t{40}}));
    return piece + "'";
  }
  Where place() const { return {file_, line_, column_, {}}; }
  void step() {
    const auto c = static_cast<unsigned char>(text_[pos_++]);
    if (c == '\n') {
      ++line_;
      column_ = 1;
    } else if ((c & 0xC0U) != 0x80U) {  // columns count characters, as editors do, not the bytes of UTF-8
      ++column_;
    }
  }
  void skip_filler() {
    if (pos_ == 0 && text_.compare(0, 3, "\xEF\xBB\xBF") == 0) pos_ = 3;
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
      while (pos_ < text_.size() &&
             (std::isalnum(static_cast<unsigned char>(text_[pos_])) || is('+') || is('-') || is('.')))
        step();
    }
  }

  const std::string& text_;
  const std::string& file_;
  std::size_t pos_{0}, last_pos_{0};
  Where last_;
  int line_{1}, column_{1};
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
      problems_.add(at, "the key '" + k + "' a second time", "each key once",
                    "the first is in line " + std::to_string(first->at.line) + "; remove one of them");
    object.members.push_back({k, at, {}});
    return true;
  }
  bool parse_error(std::size_t byte, const std::string&, const nlohmann::detail::exception& e) override {
    auto [where, piece] = places_.stumble(byte);
    // "[kind] parse error at line L, column C: syntax error while parsing value - REASON; last read: '...'; expected
    // ..."
    std::string reason = e.what();
    if (const auto from = reason.find(" - "); from != std::string::npos) reason.erase(0, from + 3);
    if (const auto from = reason.find("] "); reason.front() == '[' && from != std::string::npos)
      reason.erase(0, from + 2);
    const auto last_read = reason.find("; last read"), expected = reason.rfind("; expected ");
    problems_.add(std::move(where), "no valid JSON at " + piece, "JSON; // and /* */ comments, no trailing comma",
                  expected == std::string::npos || expected < last_read ? reason.substr(0, last_read)
                                                                        : reason.substr(expected + 2));
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
    if (open_.size() <= deepest) return true;
    problems_.add(open_.back()->at, "lists and objects within each other",
                  "at most " + std::to_string(deepest) + " deep");
    return false;
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
