#pragma once
// A JSON value that knows where in which file it stands.

#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "harness/base/problems.hpp"

namespace trackrod {

struct Node {
  enum class Kind { null, boolean, number, text, list, object };
  struct Member;

  Kind kind{Kind::null};
  Where at;          // of the value's first character
  std::string text;  // text: the characters; number: as written
  double number{0.0};
  bool integral{false};  // number: written without fraction or exponent
  bool boolean{false};
  std::vector<Node> items;
  std::vector<Member> members;  // in the order of the file

  const Node* find(std::string_view key) const;
  // "a text", "a number", ... for messages.
  std::string kind_name() const;
  // The value as it stands in the file, shortened for a message.
  std::string shown() const;
};

struct Node::Member {
  std::string key;
  Where key_at;
  Node value;
};

// Parses JSON with // and /* */ comments. Syntax errors and duplicate keys go to `problems`; null when the text is no
// JSON.
std::unique_ptr<Node> parse_json(const std::string& text, const std::string& file, Problems& problems);

}  // namespace trackrod
