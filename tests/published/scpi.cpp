// SCPI texts against the standards' own. Source of all: IEEE 488.2 and SCPI-1999 (response data forms, special numbers,
// list of errors and events).

#include <cmath>

#include "drivers/protocol/scpi_text.hpp"
#include "tests/catch.hpp"

using namespace trackrod;

TEST_CASE("numbers are read in the forms NR1, NR2 and NR3") {
  CHECK(read_number("42") == 42.0);
  CHECK(read_number("-7") == -7.0);
  CHECK(read_number("+7") == 7.0);
  CHECK(read_number("12.50") == 12.5);
  CHECK(read_number("-.5") == -0.5);
  CHECK(read_number("1.2E-3") == 0.0012);
  CHECK(read_number("+1.250000E+01") == 12.5);
  CHECK(read_number("1e2") == 100.0);
  CHECK(read_number("  3.0 ") == 3.0);
}

TEST_CASE("booleans are read as words and as numbers") {
  CHECK(read_number("ON") == 1.0);
  CHECK(read_number("off") == 0.0);
  CHECK(read_number("1") == 1.0);
  CHECK(read_number("0") == 0.0);
}

TEST_CASE("the standard's special numbers are no value") {
  for (const char* text : {"9.9E37", "+9.9E37", "-9.9E+37", "9.91E37", "9.910000E+37", "NAN", "INF", "NINF"}) {
    CAPTURE(text);
    const auto value = read_number(text);
    REQUIRE(value.has_value());
    CHECK(std::isnan(*value));
  }
  CHECK(read_number("9.8E37") == 9.8e37);
}

TEST_CASE("what is no numeric answer is not read as one") {
  for (const char* text : {"", "-", "+", "+-1", "volt", "12.5V", "1,2", "0,\"No error\"", "#15abcde", "0x10",
                           "infinity", "nan(1)", "1e", "--1", "1 2", "12.5 13.5", "\x01\x02"}) {
    CAPTURE(text);
    CHECK_FALSE(read_number(text).has_value());
  }
}

TEST_CASE("entries of the error queue are read with the published numbers and texts") {
  CHECK(read_error_entry("0,\"No error\"") == 0);
  CHECK(read_error_entry("+0,\"No error\"") == 0);
  CHECK(read_error_entry("-101,\"Invalid character\"") == -101);
  CHECK(read_error_entry("-113,\"Undefined header\"") == -113);
  CHECK(read_error_entry("-222,\"Data out of range\"") == -222);
  CHECK(read_error_entry("-350,\"Queue overflow\"") == -350);
  CHECK(read_error_entry("-410,\"Query INTERRUPTED\"") == -410);
  CHECK(read_error_entry("201,\"of the maker's own\"") == 201);
  CHECK_FALSE(read_error_entry("0").has_value());
  CHECK_FALSE(read_error_entry("13.5").has_value());
  CHECK_FALSE(read_error_entry("maker,model,0,1.0").has_value());
  CHECK_FALSE(read_error_entry("").has_value());
}

TEST_CASE("numbers are sent rounded, in the form NR2, and never as words") {
  const auto sent = [](double value, int digits) {
    std::string text;
    append_number(text, value, digits);
    return text;
  };
  CHECK(sent(13.5, 4) == "13.5000");
  CHECK(sent(-0.00001, 3) == "0.000");
  CHECK(sent(1.0, 0) == "1");
  CHECK(sent(2.0 / 3.0, 9) == "0.666666667");
  CHECK(sent(1e300, 2) == "1000000000000.00");
  CHECK(sent(-1e300, 0) == "-1000000000000");
}

TEST_CASE("definite-length blocks are read as the standard writes them") {
  const auto text = [](std::optional<std::span<const std::byte>> data) {
    return data ? std::string{reinterpret_cast<const char*>(data->data()), data->size()} : std::string{"none"};
  };
  CHECK(text(read_block("#11a")) == "a");
  CHECK(text(read_block("#211X1234567890")) == "X1234567890");
  CHECK(text(read_block("#204ABCD")) == "ABCD");
  CHECK(text(read_block("#210ABCD")) == "none");  // too short
  CHECK(text(read_block("#0ABCD")) == "none");    // the indefinite form ends with the message only
  CHECK(text(read_block("#1")) == "none");
  CHECK(text(read_block("ABCD")) == "none");
  const std::string five{"#15\x01\xff\x7f\x80\x00", 8};
  const auto item = [&](int n) { return BlockItem{BlockItem::Type::int8, ByteOrder::big, n}.of(*read_block(five)); };
  CHECK(item(0) == 1.0);
  CHECK(item(1) == -1.0);
  CHECK(item(2) == 127.0);
  CHECK(item(3) == -128.0);
  CHECK(item(4) == 0.0);
  CHECK_FALSE(item(5).has_value());
}
