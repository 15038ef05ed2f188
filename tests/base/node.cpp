// JSON with places. The language: RFC 8259; comments are our addition, as editors take them.

#include "harness/base/node.hpp"

#include <tuple>

#include "tests/catch.hpp"

using namespace trackrod;

namespace {
std::unique_ptr<Node> good(const std::string& text) {
  Problems problems;
  auto root = parse_json(text, "f.json", problems);
  for (const auto& p : problems.sorted()) UNSCOPED_INFO(p.sentence());
  REQUIRE(root);
  REQUIRE(problems.none());
  return root;
}
void check_at(const Node& n, int line, int column, const std::string& path) {
  INFO("path '" << path << "', found at " << n.at.line << ":" << n.at.column << " '" << n.at.path << "'");
  CHECK(n.at.file == "f.json");
  CHECK(n.at.line == line);
  CHECK(n.at.column == column);
  CHECK(n.at.path == path);
}
}  // namespace

TEST_CASE("every value knows its place and path") {
  const auto root = good(
      "{\n"
      "  \"a\": 1.5, \"b\": [true, null,\n"
      "    {\"c\" :  \"text\"}, []\n"
      "  ]\n"
      "}\n");
  check_at(*root, 1, 1, "");
  check_at(*root->find("a"), 2, 8, "/a");
  const auto& b = *root->find("b");
  check_at(b, 2, 18, "/b");
  REQUIRE(b.items.size() == 4);
  check_at(b.items[0], 2, 19, "/b/0");
  check_at(b.items[1], 2, 25, "/b/1");
  check_at(b.items[2], 3, 5, "/b/2");
  check_at(*b.items[2].find("c"), 3, 13, "/b/2/c");
  check_at(b.items[3], 3, 22, "/b/3");
  CHECK(b.items[2].members.front().key_at.line == 3);
  CHECK(b.items[2].members.front().key_at.column == 6);
  CHECK(b.items[2].members.front().key_at.path == "/b/2/c");
}

TEST_CASE("comments of both kinds do not move a value's place") {
  const auto root = good(
      "// head, with \"quotes\" and {brackets}\n"
      "/* two\n lines */ {\"a\": /* , : */ 1, // to the end\n"
      "\"b\"/**/:/* \" */\"//no comment\"}  // end");
  check_at(*root, 3, 11, "");
  check_at(*root->find("a"), 3, 27, "/a");
  check_at(*root->find("b"), 4, 16, "/b");
  CHECK(root->find("b")->text == "//no comment");
}

TEST_CASE("strings with escapes, tabs, line ends of two characters and a byte order mark do not move a place") {
  check_at(*good("{\"a\\\"\\\\\": \"\\u00e4\\n\", \"b\": 2}")->find("b"), 1, 28, "/b");
  check_at(*good("{\r\n\t\"b\":\t2}")->find("b"), 2, 7, "/b");
  const auto marked = good("\xEF\xBB\xBF{\"b\": 2}");
  check_at(*marked, 1, 1, "");
  check_at(*marked->find("b"), 1, 7, "/b");
}

TEST_CASE("columns count characters, not bytes") {
  check_at(*good("{\"\xC3\xA4\xE2\x82\xAC\": \"\xF0\x9F\x94\xA7\", \"b\": 2}")->find("b"), 1, 18, "/b");
}

TEST_CASE("numbers keep how they were written") {
  const auto root = good("[3, 3.0, -7, 1e3, 18446744073709551615]");
  CHECK(root->items[0].integral);
  CHECK_FALSE(root->items[1].integral);
  CHECK(root->items[1].text == "3.0");
  CHECK(root->items[2].number == -7.0);
  CHECK_FALSE(root->items[3].integral);
  CHECK(root->items[4].text == "18446744073709551615");
}

TEST_CASE("a key that stands twice is told at its second place, at any depth") {
  for (const auto& [text, line, column, path] : {std::tuple{"{\"a\": 1,\n \"b\": 2,\n \"a\": 3}", 3, 2, "/a"},
                                                 std::tuple{"[{\"x\": {\"y\": 1, \"y\": 1}}]", 1, 17, "/0/x/y"}}) {
    Problems problems;
    parse_json(text, "f.json", problems);
    REQUIRE(problems.count() == 1);
    const auto p = problems.sorted().front();
    CHECK(p.at.line == line);
    CHECK(p.at.column == column);
    CHECK(p.at.path == path);
    CHECK(p.found.find("second time") != std::string::npos);
    CHECK(p.advice.find("line 1") != std::string::npos);
  }
  // The same key in two objects is no duplicate, nor is a value that looks like a key.
  good("[{\"a\": 1}, {\"a\": \"a\"}]");
}

TEST_CASE("a syntax error is told at the very token") {
  using Case = std::tuple<std::string, int, int, std::string>;  // text, line, column, what the message must contain
  const auto c = GENERATE(values<Case>({{"{\"a\": 1 \"b\": 2}", 1, 9, "'\"b\"'"},
                                        {"[1, 2,\n]", 2, 1, "']'"},
                                        {"{\"a\": 1,}", 1, 9, "'}'"},
                                        {"{\"a\": tru\n}", 1, 7, "'tru'"},
                                        {"{\"a\": , \"b\": 1}", 1, 7, "','"},
                                        {"[1,,2]", 1, 4, "','"},
                                        {"{\n \"a\" 1}", 2, 6, "'1'"},
                                        {"\xEF\xBB\xBF{x}", 1, 2, "'x'"},
                                        {"{\"a\": \"unclosed\n}", 1, 7, "'\"unclosed'"},
                                        {"{\"a\": 1}}", 1, 9, "'}'"},
                                        {"{\"a\": 1e400}", 1, 7, "'1e400'"},
                                        {"{\"a\": 01}", 1, 7, "'01'"},
                                        {"{\"a\": 'x'}", 1, 7, "'''"},
                                        {"{'a': 1}", 1, 2, "'''"},
                                        {"{\"a\": -}", 1, 7, "'-'"},
                                        {"{\"a\": NaN}", 1, 7, "'N'"},
                                        {"{\"a\": \"\\q\"}", 1, 7, "'\"\\q'"},
                                        {"{\"a\": [1, 2}", 1, 12, "'}'"},
                                        {"{\"a\": \"\xFF\"}", 1, 7, "UTF-8"},
                                        {"", 1, 1, "end of the file"},
                                        {"// nothing\n", 2, 1, "end of the file"},
                                        {"{\"a\": 1", 1, 8, "end of the file"},
                                        {"{\"a\": /* open", 1, 14, "end of the file"}}));
  const auto& [text, line, column, word] = c;
  CAPTURE(text);
  Problems problems;
  CHECK_FALSE(parse_json(text, "f.json", problems));
  REQUIRE(problems.count() == 1);
  const auto p = problems.sorted().front();
  INFO(p.sentence());
  CHECK(p.at.line == line);
  CHECK(p.at.column == column);
  CHECK(p.sentence().find(word) != std::string::npos);
  CHECK_FALSE(p.allowed.empty());
}

TEST_CASE("a file of nothing but brackets is refused, not followed") {
  for (const auto* bracket : {"[", "{\"a\":"}) {
    std::string text;
    for (int i = 0; i < 200000; ++i) text += bracket;
    Problems problems;
    CHECK_FALSE(parse_json(text, "f.json", problems));
    CHECK(problems.count() == 1);
  }
}

TEST_CASE("every cut and every changed byte of a file gives a tree or a problem") {
  const std::string text = "// c\n{\"a\": [1, -2.5e3, \"t\\u00e4\\n\", true, null], /* x */ \"b\": {\"c\": {}}}";
  for (std::size_t i = 0; i < text.size(); ++i) {
    for (const char c : {'\0', '"', '{', '}', ',', '\\', '/', '\n', '\xFF', '9'}) {
      auto changed = text;
      changed[i] = c;
      Problems problems;
      const auto root = parse_json(changed, "f.json", problems);
      CHECK((root != nullptr || problems.count() == 1));
    }
    Problems problems;
    const auto cut = parse_json(text.substr(0, i), "f.json", problems);
    CHECK((cut == nullptr && problems.count() == 1));
    if (problems.none()) break;
    const auto at = problems.sorted().front().at;
    CHECK(at.line >= 1);
    CHECK(at.column >= 1);
  }
}

TEST_CASE("a value is shown as it stands in the file, shortened") {
  const auto root = good("[null, false, 2.50, \"" + std::string(100, 'x') + "\", [1, 2], {}]");
  CHECK(root->items[0].shown() == "null");
  CHECK(root->items[1].shown() == "false");
  CHECK(root->items[2].shown() == "2.50");
  CHECK(root->items[3].shown() == "\"" + std::string(57, 'x') + "...\"");
  CHECK(root->items[4].shown() == "a list of 2");
  CHECK(root->items[5].shown() == "an object");
  CHECK(root->items[4].kind_name() == "a list");
}
