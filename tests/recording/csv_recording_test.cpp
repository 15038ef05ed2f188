// Recordings in columns: every form of time, unit and number, and what a row that cannot be read does.

#include "tests/recording/described.hpp"

using namespace trackrod;
using namespace trackrod::test;

TEST_CASE("a table with text above it, decimal commas and semicolons is read in the signal's unit", "[recording]") {
  const auto d = description_of(csv_description(
      R"(, "separator": "semicolon", "decimal": "comma", "lines_above": 2)", R"({"column": "Zeit [ms]", "unit": "ms"})",
      R"({"hand": {"column": "Lenkwinkel", "column_unit": "rad", "unit": "deg"},
                                                    "volt": {"column": 4, "unit": "V"}})"));
  const auto r = read(*d,
                      "Logger 7, \"rig\r\n\r\nZeit [ms];Lenkwinkel;Text;U\r\n"
                      "0,5;0,5;\"a;b\";12,0\r\n1,5;-1e-1;;12,5\r\n\"2,5\"; 3 ;x;\r\n");
  REQUIRE(r.wrong.empty());
  CHECK(r.kept.rows == std::vector<std::int64_t>{500'000, 1'500'000, 2'500'000});
  REQUIRE(r.kept.of(0).size() == 3);
  CHECK(r.kept.of(0)[0] == Approx(0.5 * 180.0 / M_PI));
  CHECK(r.kept.of(0)[1] == Approx(-0.1 * 180.0 / M_PI));
  CHECK(r.kept.of(1)[1] == 12.5);
  CHECK(std::isnan(r.kept.of(1)[2]));
  CHECK(r.counts.rows == 3);
  CHECK(r.counts.no_values == 1);
  CHECK(r.counts.stamp_step == std::chrono::microseconds{100});
  CHECK(r.counts.places == std::vector<int>{1, 1});
  CHECK_FALSE(r.counts.wall_of_zero);
}

TEST_CASE("times are elapsed, since 1970, dates, or none at all", "[recording]") {
  struct Case {
    const char* time;
    const char* first;
    const char* second;
    std::int64_t first_ns, second_ns;
    std::optional<std::int64_t> wall;
  };
  const auto c = GENERATE(values<Case>({
      {R"({"column": "t"})", "-1.5", "2", -1'500'000'000, 2'000'000'000, std::nullopt},
      {R"({"column": "t", "unit": "us"})", "17", "18.5", 17'000, 18'500, std::nullopt},
      // Times that are dates count from the first row.
      {R"({"column": "t", "form": "epoch"})", "1795687200.000000001", "1795687201", 0, 999'999'999,
       1'795'687'200'000'000'001},
      {R"({"column": "t", "form": "epoch", "unit": "ms"})", "1795687200000", "1795687200001", 0, 1'000'000,
       1'795'687'200'000'000'000},
      {R"({"column": "t", "form": "iso8601"})", "2026-11-26T10:00:00Z", "2026-11-26 11:00:00.25+01:00", 0, 250'000'000,
       1'795'687'200'000'000'000},
      {R"({"every": "2 ms"})", "x", "y", 0, 2'000'000, std::nullopt},
  }));
  CAPTURE(c.time);
  const auto d = description_of(csv_description("", c.time));
  const auto r = read(*d, std::string{"t,a\n"} + c.first + ",1\n" + c.second + ",2\n");
  REQUIRE(r.wrong.empty());
  CHECK(r.kept.rows == std::vector<std::int64_t>{c.first_ns, c.second_ns});
  CHECK(r.counts.wall_of_zero == c.wall);
  CHECK_FALSE(r.counts.no_offset);
}

TEST_CASE("what is out of the ordinary is read, counted and told", "[recording]") {
  const auto d =
      description_of(csv_description(R"(, "no_value": ["", "--"])", R"({"column": "t", "form": "iso8601"})"));
  const auto r =
      read(*d,
           "\xEF\xBB\xBFt,a\r\n2026-11-26T10:00:00,1\r\n2026-11-26T10:00:00,--\r\n\r\n2026-11-26T10:00:00,\r\n"
           "2026-11-26T10:00:01,4");
  REQUIRE(r.wrong.empty());
  CHECK(r.kept.of(0).size() == 4);
  const auto notes = r.counts.notes();
  CHECK(notes == std::vector<std::string>{
                     "2 cells said \"no value\"",
                     "2 rows have the time of the row before, first in line 3; scores use the first of such samples",
                     "1 blank line", "the file begins with a byte order mark, which was skipped",
                     "the dates have no offset from UTC and were taken as UTC"});
}

TEST_CASE("a table without heads has columns by number", "[recording]") {
  const auto d = description_of(
      csv_description(R"(, "heads": false)", R"({"column": 2})", R"({"a": {"column": 1, "unit": "deg"}})"));
  const auto r = read(*d, "5,0\n6,1\n");
  REQUIRE(r.wrong.empty());
  CHECK(r.kept.of(0) == std::vector<double>{5.0, 6.0});
}

TEST_CASE("a file that cannot be read is refused with its line and what is allowed", "[recording]") {
  struct Case {
    const char* text;
    const char* sentence;
  };
  const auto c = GENERATE(values<Case>({
      {"", "the file holds no table"},
      {"t,a\n", "the file holds no row that can be read"},
      {"t,b\n0,1\n", "line 1: no column 'a'; allowed: 't' or 'b'"},
      {"t;a\n0;1\n", "is \"separator\" right?"},
      {"t,a,a\n0,1,2\n", "line 1: two columns 'a'; name the one that is meant by its number"},
      {"t,a\n0,1\n1\n", "line 3: 1 fields; allowed: 2, as in the first row (RFC 4180, 2.4)"},
      {"t,a\n0,1,2\n", "line 2: 3 fields; allowed: 2"},
      {"t,a\n0,1\n1,", "line 3: found '' for 'a' (column 2); allowed: a number with a decimal point"},
      {"t,a\n0,one\n", "line 2: found 'one' for 'a' (column 2)"},
      {"t,a\n0,inf\n", "line 2: found 'inf' for 'a' (column 2)"},
      {"t,a\n0,1e999\n", "line 2: found '1e999' for 'a' (column 2)"},
      {"t,a\nnow,1\n", "line 2: found 'now' as time; allowed: a number with a decimal point"},
      {"t,a\n,1\n", "line 2: found '' as time"},
      {"t,a\n0,1\n\n2,2\n1.5,3\n", "line 5: the time goes back by 0.5 s; allowed: times that grow from row to row"},
      {"t,a\n0,\"1\n", "line 2: a quoted field begins here and does not end"},
  }));
  CAPTURE(c.text);
  const auto d = description_of(csv_description(R"(, "no_value": ["-"])"));
  const auto r = read(*d, c.text);
  CAPTURE(r.wrong);
  CHECK(r.wrong.find(c.sentence) != std::string::npos);
}

TEST_CASE("rows that cannot be read are left out where the description says so, counted and told by line",
          "[recording]") {
  const auto d = description_of(csv_description(R"(, "bad_rows": "leave_out")"));
  const auto r = read(*d, "t,a\n0,1\n1,x\n2\n3,4\n2.5,5\nx,1\n4,5,6\n5,7\nz,z\n6,");
  REQUIRE(r.wrong.empty());
  CHECK(r.kept.rows == std::vector<std::int64_t>{0, 3'000'000'000, 5'000'000'000, 6'000'000'000});
  CHECK(r.counts.rows == 4);
  CHECK(r.counts.left_out == 6);
  REQUIRE(r.counts.left_out_first.size() == 5);
  CHECK(r.counts.left_out_first[0].find("line 3: found 'x' for 'a'") == 0);
  CHECK(r.counts.left_out_first[1].find("line 4: 1 fields") == 0);
  CHECK(r.counts.left_out_first[2].find("line 6: the time goes back by 0.5 s") == 0);
  CHECK(r.counts.notes().front().find("6 rows could not be read and were left out") == 0);
  // Broken quotes leave no next row to go on with.
  CHECK(read(*d, "t,a\n0,1\n1,\"2\n").wrong.find("line 3: a quoted field begins here") == 0);
}
