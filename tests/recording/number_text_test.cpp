// Numbers and times as text, against Python's float, Fraction and datetime.

#include "harness/recording/number_text.hpp"

#include <cmath>
#include <cstring>
#include <random>

#include "tests/recording/python.hpp"

using namespace trackrod;
using namespace trackrod::test;

namespace {

class Maker {
 public:
  explicit Maker(unsigned seed) : random_{seed} {}
  std::size_t pick(std::size_t n) { return std::uniform_int_distribution<std::size_t>{0, n - 1}(random_); }
  std::string digits(std::size_t least, std::size_t most) {
    std::string out;
    for (auto n = least + pick(most - least + 1); n > 0; --n) out += static_cast<char>('0' + pick(10));
    return out;
  }
  std::string number() {
    std::string out = pick(3) == 0 ? "-" : pick(5) == 0 ? "+" : "";
    out += digits(1, pick(4) == 0 ? 25 : 6);
    if (pick(3) > 0) out += "." + digits(0, pick(4) == 0 ? 25 : 6);
    if (pick(3) == 0)
      out += (pick(2) == 0 ? "e" : "E") + std::string{pick(2) == 0 ? "-" : ""} + digits(1, pick(4) == 0 ? 3 : 2);
    return out;
  }

 private:
  std::mt19937 random_;
};

std::string with(std::string text, char decimal) {
  for (auto& c : text)
    if (c == '.') c = decimal;
  return text;
}

}  // namespace

TEST_CASE("numbers are to the last bit those of Python's float", "[number]") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  Maker make{seed};
  std::string lines, ours;
  for (int i = 0; i < 5000; ++i) {
    const auto text = make.number();
    lines += text + "\n";
    for (const char decimal : {'.', ','}) {
      const auto number = read_number("  " + with(text, decimal) + "\t", decimal);
      std::uint64_t bits = 0;
      if (number) std::memcpy(&bits, &number->value, sizeof bits);
      char word[32];
      std::snprintf(word, sizeof word, "%s%016llx", decimal == ',' ? " " : "", static_cast<unsigned long long>(bits));
      ours += number ? word : " inf";
    }
    ours += "\n";
  }
  const auto theirs = python(R"(
import math, struct, sys
for line in open(sys.argv[1]):
    v = float(line)
    word = struct.pack('>d', v).hex() if math.isfinite(v) else None
    print(word + ' ' + word if word else ' inf inf')
)",
                             lines);
  CHECK(ours == theirs);
}

TEST_CASE("what is no decimal number is none", "[number]") {
  for (const char* text : {"",
                           " ",
                           "-",
                           "+",
                           ".",
                           "e5",
                           "1e",
                           "1e+",
                           "1.2.3",
                           "1,5",
                           "1 2",
                           "0x10",
                           "inf",
                           "nan",
                           "NaN",
                           "--1",
                           "+-1",
                           "1_000",
                           "1.5V",
                           "1e999",
                           "\xC2\xA0"
                           "1"}) {
    CAPTURE(text);
    CHECK_FALSE(read_number(text, '.'));
  }
  CHECK_FALSE(read_number("1.5", ','));
  CHECK_FALSE(read_number("1.000,5", ','));
}

TEST_CASE("the places of a number tell how finely it was written", "[number]") {
  CHECK(read_number("12", '.')->places == 0);
  CHECK(read_number("0.250", '.')->places == 3);
  CHECK(read_number("1.5e-3", '.')->places == 4);
  CHECK(read_number("2e3", '.')->places == -3);
}

TEST_CASE("times are exact to the nanosecond, as Python's fractions are", "[number]") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  Maker make{seed};
  std::string lines, ours;
  for (int i = 0; i < 3000; ++i) {
    const auto text =
        (make.pick(3) == 0 ? "-" : "") + make.digits(1, 9) + (make.pick(4) == 0 ? "" : "." + make.digits(1, 12));
    const auto unit = std::vector<std::int64_t>{1, 1'000, 1'000'000, 1'000'000'000}[make.pick(4)];
    lines += text + " " + std::to_string(unit) + "\n";
    const auto time = read_elapsed(text, '.', unit);
    REQUIRE(time);
    ours += std::to_string(time->ns) + "\n";
  }
  // Half a nanosecond goes away from zero.
  const auto theirs = python(R"(
import math, sys
from fractions import Fraction
for line in open(sys.argv[1]):
    text, unit = line.split()
    v = Fraction(text) * int(unit)
    n = math.floor(abs(v) + Fraction(1, 2))
    print(-n if text.startswith('-') and n else n)
)",
                             lines);
  CHECK(ours == theirs);
}

TEST_CASE("a time says how fine its last digit is", "[number]") {
  CHECK(read_elapsed("1.25", '.', 1'000'000'000)->step_ns == 10'000'000);
  CHECK(read_elapsed("12", '.', 1'000'000)->step_ns == 1'000'000);
  CHECK(read_elapsed("0.1234567891234", '.', 1'000'000'000)->step_ns == 1);
  CHECK(read_date_time("2026-11-26T10:00")->step_ns == 60'000'000'000);
  CHECK(read_date_time("2026-11-26T10:00:00,125Z")->step_ns == 1'000'000);
  CHECK_FALSE(read_elapsed("9999999999", '.', 1'000'000'000));
  CHECK_FALSE(read_elapsed("1e30", '.', 1));
}

TEST_CASE("dates and times of ISO 8601 are those of Python's datetime", "[number]") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  Maker make{seed};
  const auto two = [](std::size_t n) { return (n < 10 ? "0" : "") + std::to_string(n); };
  std::string lines, ours;
  for (int i = 0; i < 3000; ++i) {
    const bool extended = make.pick(3) > 0;
    const std::string dash = extended ? "-" : "", colon = extended ? ":" : "";
    // Days up to 31 in every month: what is no day must be none for both.
    auto text = std::to_string(1830 + make.pick(280)) + dash + two(1 + make.pick(12)) + dash + two(1 + make.pick(31)) +
                (make.pick(4) == 0 ? " " : "T") + two(make.pick(24)) + colon + two(make.pick(60));
    if (make.pick(4) > 0) {
      text += colon + two(make.pick(60));
      if (make.pick(2) == 0) text += (make.pick(2) == 0 ? "," : ".") + make.digits(6, 6);
    }
    const auto zone = make.pick(4);
    if (zone == 0) text += "Z";
    if (zone == 1) text += (make.pick(2) == 0 ? "+" : "-") + two(make.pick(24)) + colon + two(make.pick(60));
    if (zone == 2) text += "+" + two(make.pick(24));
    lines += text + "\n";
    const auto date = read_date_time(text);
    ours += date ? std::to_string(date->ns / 1000) + (date->has_offset ? " with" : " without") + "\n" : "none\n";
    CHECK((!date || date->ns % 1000 == 0));
  }
  const auto theirs = python(R"(
import sys
from datetime import datetime, timezone, timedelta
zero = datetime(1970, 1, 1, tzinfo=timezone.utc)
for line in open(sys.argv[1]):
    try:
        t = datetime.fromisoformat(line.rstrip('\n'))
    except ValueError:
        print('none')
        continue
    known = t.tzinfo is not None
    if not known: t = t.replace(tzinfo=timezone.utc)
    print((t - zero) // timedelta(microseconds=1), 'with' if known else 'without')
)",
                             lines);
  CHECK(ours == theirs);
}

TEST_CASE("what is no date and time of day is none", "[number]") {
  for (const char* text :
       {"", "2026-11-26", "26-11-2026T10:00:00", "2026-11-31T10:00:00", "2026-11-26T24:00:00", "2026-11-26T10:00:60",
        "2026-11-26T10:00:00.", "2026-11-26T1000:00", "20261126T10:00:00", "2026-11-26T10:00:00+1",
        "2026-11-26T10:00:00+24:00", "2026-11-26T10:00:00 x", "1824-12-31T00:00:00", "2026-330T10:00:00"}) {
    CAPTURE(text);
    CHECK_FALSE(read_date_time(text));
  }
}
