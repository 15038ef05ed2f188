#include "harness/report/text.hpp"

#include <random>

#include "tests/catch.hpp"
#include "tests/report/judges.hpp"

using namespace trackrod;

TEST_CASE("text with any bytes comes out of a page as it went in, or with signs of replacement") {
  CHECK(escaped("<a href=\"x\">'&'</a>") == "&lt;a href=&quot;x&quot;&gt;&#39;&amp;&#39;&lt;/a&gt;");
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937 random{seed};
  std::uniform_int_distribution<int> byte{0, 255}, length{0, 40};
  std::string lines = "<all>\n";
  for (int i = 0; i < 2000; ++i) {
    std::string text;
    for (int n = length(random); n > 0; --n) text += static_cast<char>(byte(random));
    lines += "<t a=\"" + escaped(text) + "\">" + escaped(text) + "</t>\n";
  }
  const auto answer = judges::xml(lines + "</all>");
  CHECK(answer.said == "");
  CHECK(answer.good);
}

TEST_CASE("well-formed UTF-8 is kept, and what Unicode forbids is not (Unicode 15, table 3-7)") {
  CHECK(escaped("\xC2\xB1 \xE2\x89\xA4 \xF0\x9F\x94\xA7") == "\xC2\xB1 \xE2\x89\xA4 \xF0\x9F\x94\xA7");
  const std::string sign = "\xEF\xBF\xBD";
  CHECK(escaped("\xC0\xAF") == sign + sign);                        // overlong
  CHECK(escaped("\xED\xA0\x80") == sign + sign + sign);             // half of a surrogate pair
  CHECK(escaped("\xF4\x90\x80\x80") == sign + sign + sign + sign);  // beyond U+10FFFF
  CHECK(escaped("\xE2\x89") == sign + sign);                        // cut short
  CHECK(escaped(std::string("\0\x01", 2)) == sign + sign);          // not allowed in XML 1.0
}

TEST_CASE("columns count signs, not bytes") {
  CHECK(columns("43.7 \xC2\xB1 1.2") == 10);
  CHECK(padded("\xC2\xB1", 3) == "\xC2\xB1  ");
}

TEST_CASE("a grid aligns its columns by signs, and takes short rows") {
  CHECK(grid({{"a", "limit"}, {"µ±", "b"}, {"c"}}) == "a   limit\nµ±  b\nc\n");
  CHECK(grid({}).empty());
}

TEST_CASE("lines are broken at spaces and long words are cut") {
  CHECK(wrapped("one two three", 7) == std::vector<std::string>{"one two", "three"});
  CHECK(wrapped("", 7) == std::vector<std::string>{""});
  CHECK(wrapped("a bcdefghijk l", 4) == std::vector<std::string>{"a", "bcde", "fghi", "jk l"});
}

TEST_CASE("ASCII stands in for our signs") {
  CHECK(ascii_only("43.7 ± 1.2 ≤ 50 × 3 µs ä") == "43.7 +- 1.2 <= 50 x 3 us ?");
}
