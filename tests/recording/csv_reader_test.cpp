// The reader of CSV, by the rules of RFC 4180 section 2 and the grammar that follows them, and against Python's reader.

#include "harness/recording/csv_reader.hpp"

#include <cstdio>
#include <filesystem>
#include <fstream>
#include <random>

#include "tests/recording/python.hpp"

using namespace trackrod;
using namespace trackrod::test;

namespace {

using Record = std::vector<std::string>;

// A source that gives a few bytes at a time, so that every place can be the end of a piece.
ByteSource in_pieces(std::string text, std::size_t piece) {
  return [source = bytes_of(std::move(text)), piece](std::span<char> room) mutable {
    return source(room.first(std::min(room.size(), piece)));
  };
}

struct Table {
  std::vector<Record> records;
  std::vector<std::uint64_t> lines;
  std::string wrong;  // empty: it was read to its end
};
Table read(const std::string& text, char separator = ',', std::size_t piece = 1 << 16) {
  Table out;
  CsvReader reader{in_pieces(text, piece), separator};
  for (;;) {
    const auto next = reader.next();
    if (!next) return out.wrong = next.error().context, out;
    if (!*next) return out;
    out.records.emplace_back(reader.fields().begin(), reader.fields().end());
    out.lines.push_back(reader.line());
  }
}

}  // namespace

TEST_CASE("records, fields and quotes are as RFC 4180 has them", "[csv]") {
  struct Case {
    const char* clause;
    std::string text;
    std::vector<Record> records;
  };
  const auto c = GENERATE(values<Case>({
      {"2.1: each record on its own line, ended by CRLF",
       "aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n",
       {{"aaa", "bbb", "ccc"}, {"zzz", "yyy", "xxx"}}},
      {"2.2: the last record may have no line end",
       "aaa,bbb,ccc\r\nzzz,yyy,xxx",
       {{"aaa", "bbb", "ccc"}, {"zzz", "yyy", "xxx"}}},
      {"2.4: spaces are part of a field", " a , b\r\n", {{" a ", " b"}}},
      {"2.4: the last field has no comma behind it; one there begins another field", "a,b,\r\n", {{"a", "b", ""}}},
      {"2.5: fields may be in quotes", "\"aaa\",\"bbb\",ccc\r\n", {{"aaa", "bbb", "ccc"}}},
      {"2.6: line ends and commas in quotes",
       "\"aaa\",\"b\r\nbb\",\"c,c\"\r\nzzz,yyy,xxx\r\n",
       {{"aaa", "b\r\nbb", "c,c"}, {"zzz", "yyy", "xxx"}}},
      {"2.7: a quote in quotes is doubled", "\"aaa\",\"b\"\"bb\",\"\"\"\"\r\n", {{"aaa", "b\"bb", "\""}}},
      {"grammar: a field may be empty", ",\r\n\"\",\r\n", {{"", ""}, {"", ""}}},
      {"beyond it: LF alone ends a line", "a,b\nc,d\n", {{"a", "b"}, {"c", "d"}}},
      {"beyond it: a line without a character is a record of one empty field", "a\r\n\r\nb\r\n", {{"a"}, {""}, {"b"}}},
      {"beyond it: the byte order mark of UTF-8 is no part of the text", "\xEF\xBB\xBF\"a\",b\r\n", {{"a", "b"}}},
      {"nothing at all", "", {}},
  }));
  CAPTURE(c.clause);
  for (const std::size_t piece : {1, 2, 3, 1000}) {
    const auto table = read(c.text, ',', piece);
    CHECK(table.wrong.empty());
    CHECK(table.records == c.records);
  }
}

TEST_CASE("the line of a record is that on which it begins", "[csv]") {
  const auto table = read("a,\"1\n2\n3\"\nb,c\n\n\"x\"\n");
  CHECK(table.lines == std::vector<std::uint64_t>{1, 4, 5, 6});
}

TEST_CASE("what can be read in two ways is refused, with its line", "[csv]") {
  struct Case {
    std::string text, sentence;
  };
  const auto c = GENERATE(values<Case>({
      {"a,b\nc,d\"e\n", "line 2: a quote inside a field"},   // RFC 4180, 2.5
      {"a, \"b\"\n", "line 1: a quote inside a field"},      // 2.4 and 2.5: the space is part of the field
      {"\"a\"b,c\n", "line 1: 'b' behind a closing quote"},  // grammar: escaped
      {"a\n\"b\nc\n", "line 2: a quoted field begins here and does not end"},
      {"a,b\rc,d\n", "line 1: a CR that no LF follows"},  // grammar: CR only within quotes, or before LF
      {"\"a\"\rb\n", "line 1: a CR that no LF follows"},
      {std::string("a,\0b\n", 5), "line 1: a zero byte"},
      {std::string("\"a\0\"\n", 5), "line 1: a zero byte"},
      {std::string("\xFF\xFE"
                   "a\0\n\0",
                   6),
       "the text is in UTF-16"},
      {std::string(longest_text + 2, 'a'), "line 1: a field of more than"},
      {"\"" + std::string(longest_text + 2, 'a'), "line 1: a quoted field of more than"},
      {std::string(70000, ','), "line 1: more than 65536 fields"},
  }));
  CAPTURE(c.sentence);
  CHECK(read(c.text).wrong.find(c.sentence) == 0);
  CHECK(read(c.text, ',', 7).wrong.find(c.sentence) == 0);
}

TEST_CASE("a source that fails is told as it says", "[csv]") {
  bool first = true;
  CsvReader reader{[&](std::span<char> room) -> Result<std::size_t> {
                     if (!std::exchange(first, false)) return fail(Fault::storage, "the disk is gone");
                     std::copy_n("a,b\nc", 5, room.begin());
                     return 5;
                   },
                   ','};
  REQUIRE(reader.next());
  const auto second = reader.next();
  REQUIRE_FALSE(second);
  CHECK(second.error().fault == Fault::storage);
  CHECK(second.error().context == "the disk is gone");
}

TEST_CASE("Python's reader sees the same fields in made-up files", "[csv]") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937 random{seed};
  const auto pick = [&](std::size_t n) { return std::uniform_int_distribution<std::size_t>{0, n - 1}(random); };
  const std::vector<std::string> pieces{"a", "7", ",", ";", "\"\"", "\r\n", "\n", "\t", " ", "\xC3\xA4"};
  for (const char separator : {',', ';', '\t'}) {
    std::string text;
    for (int record = 0; record < 300; ++record) {
      const auto fields = 1 + pick(5);
      for (std::size_t f = 0; f < fields; ++f) {
        if (f > 0) text += separator;
        const bool quoted = pick(2) == 0;
        std::string cell;
        for (auto n = pick(6); n > 0; --n) {
          const auto& piece = pieces[pick(pieces.size())];
          if (quoted || (piece.find_first_of("\"\r\n") == std::string::npos && piece[0] != separator)) cell += piece;
        }
        if (fields == 1 && !quoted) cell += "x";  // Python gives no field at all for a blank line
        text += quoted ? "\"" + cell + "\"" : cell;
      }
      text += pick(2) == 0 ? "\r\n" : "\n";
    }
    const auto table = read(text, separator, 1 + pick(50));
    REQUIRE(table.wrong.empty());
    std::string ours;
    for (const auto& record : table.records)
      for (std::size_t i = 0; i < record.size(); ++i) ours += hex(record[i]) + (i + 1 == record.size() ? "\n" : " ");
    const auto theirs = python(R"(
import csv, sys
for row in csv.reader(open(sys.argv[1], newline='', encoding='utf-8'), delimiter=sys.argv[2], strict=True):
    print(' '.join(cell.encode().hex() or '-' for cell in row))
)",
                               text, std::string{separator});
    CHECK(ours == theirs);
  }
}
