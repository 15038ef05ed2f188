#pragma once
// Every "key": value pair of a JSON text with comments, and where it stands. Written for the tests alone: it shares
// nothing with the reader that it is held against.

#include <cctype>
#include <string>
#include <vector>

namespace trackrod::test {

struct TextField {
  std::string path;  // "/steps/0/to"
  std::string key;
  std::size_t object{0};            // offset of the '{' around it
  std::size_t key_at{0}, colon{0};  // of the key's opening quote and of the ':'
  std::size_t value_at{0}, end{0};  // of the value, and one past it
};

class FieldScanner {
 public:
  explicit FieldScanner(const std::string& text) : text_{text} { value(""); }
  std::vector<TextField> fields;

 private:
  void filler() {
    for (; at_ < text_.size(); ++at_) {
      if (text_.compare(at_, 2, "//") == 0) at_ = text_.find('\n', at_);
      if (std::isspace(static_cast<unsigned char>(text_[at_])) == 0) return;
    }
  }
  std::string string() {
    const auto from = ++at_;
    while (text_[at_] != '"') at_ += text_[at_] == '\\' ? 2 : 1;
    return text_.substr(from, at_++ - from);
  }
  void value(const std::string& path) {
    filler();
    const char c = text_[at_];
    if (c == '"')
      string();
    else if (c == '{')
      object(path);
    else if (c == '[')
      list(path);
    else
      while (std::isalnum(static_cast<unsigned char>(text_[at_])) != 0 || text_[at_] == '.' || text_[at_] == '-') ++at_;
  }
  void object(const std::string& path) {
    const auto open = at_++;
    for (filler(); text_[at_] != '}'; filler()) {
      if (text_[at_] == ',') {
        ++at_;
        continue;
      }
      TextField f;
      f.object = open;
      f.key_at = at_;
      f.key = string();
      f.path = path + "/" + f.key;
      filler();
      f.colon = at_++;
      filler();
      f.value_at = at_;
      value(f.path);
      f.end = at_;
      fields.push_back(f);
    }
    ++at_;
  }
  void list(const std::string& path) {
    ++at_;
    std::size_t n = 0;
    for (filler(); text_[at_] != ']'; filler()) {
      if (text_[at_] == ',') {
        ++at_;
        continue;
      }
      value(path + "/" + std::to_string(n++));
    }
    ++at_;
  }
  const std::string& text_;
  std::size_t at_{0};
};

struct Place {
  int line{1}, column{1};
  bool operator==(const Place&) const = default;
};
inline Place place_of(const std::string& text, std::size_t offset) {
  Place p;
  for (std::size_t i = 0; i < offset; ++i)
    if (text[i] == '\n')
      ++p.line, p.column = 1;
    else
      ++p.column;
  return p;
}

}  // namespace trackrod::test
