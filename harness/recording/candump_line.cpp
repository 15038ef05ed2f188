#include "harness/recording/candump_line.hpp"

#include <cctype>

#include "harness/recording/number_text.hpp"

namespace trackrod {
namespace {

constexpr std::uint32_t error_bit = 0x20000000;  // CAN_ERR_FLAG of linux/can.h, as candump prints it

int hex_digit(char c) {
  if (c >= '0' && c <= '9') return c - '0';
  if (c >= 'A' && c <= 'F') return c - 'A' + 10;
  if (c >= 'a' && c <= 'f') return c - 'a' + 10;
  return -1;
}

class Reader {
 public:
  Reader(std::string_view text, CandumpLine& out) : text_{text}, out_{out} {}

  std::string read() {
    out_.frame = {};
    if (auto wrong = stamp(); !wrong.empty()) return wrong;
    out_.interface = std::string{word()};
    if (out_.interface.empty()) return "no interface behind the time; allowed: as in \"(1.000000) can0 123#11\"";
    auto next = word();
    if (next == "RX" || next == "TX") {  // with -x: direction, bit rate switch, error state
      out_.frame.bit_rate_switch = word() == "B";
      out_.frame.error_passive = word() == "E";
      next = word();
    }
    const auto hash = next.find('#');
    const auto wrong = hash != std::string_view::npos ? compact(next, hash) : spelled(next);
    if (!wrong.empty()) return wrong;
    out_.frame.data = {out_.data.data(), size_};
    std::array<std::byte, greatest_can_datagram> nowhere;
    if (write_can(out_.frame, nowhere).empty())
      return "a frame that CAN does not have: " + std::to_string(size_) + " bytes, identifier as found";
    return "";
  }

 private:
  std::string_view word() {
    const auto from = text_.find_first_not_of(" \t");
    if (from == std::string_view::npos) return text_ = {};
    text_.remove_prefix(from);
    const auto end = std::min(text_.find_first_of(" \t"), text_.size());
    const auto found = text_.substr(0, end);
    text_.remove_prefix(end);
    return found;
  }

  std::string stamp() {
    const auto open = text_.find_first_not_of(" \t"), shut = text_.find(')');
    if (open == std::string_view::npos || text_[open] != '(' || shut == std::string_view::npos)
      return "no time in brackets at the start of the line; allowed: what candump -l, -L, -ta, -tA, -tz or -td writes";
    const auto inside = text_.substr(open + 1, shut - open - 1);
    text_.remove_prefix(shut + 1);
    if (const auto date = read_date_time(inside)) {
      out_.ns = date->ns;
      out_.step_ns = date->step_ns;
      out_.dated = true;
      out_.has_offset = date->has_offset;
      return "";
    }
    const auto time = read_elapsed(inside, '.', 1'000'000'000);
    if (!time) return "found '" + std::string{inside} + "' as time; allowed: seconds, or date and time";
    constexpr std::int64_t too_great_to_be_elapsed = 100'000'000'000'000'000;  // three years
    out_.ns = time->ns;
    out_.step_ns = time->step_ns;
    out_.dated = time->ns >= too_great_to_be_elapsed;
    out_.has_offset = true;
    return "";
  }

  // 3 digits: 11 bits; 8 digits: 29 bits, or an error frame.
  bool identifier(std::string_view digits) {
    if (digits.size() != 3 && digits.size() != 8) return false;
    std::uint32_t id = 0;
    for (const char c : digits) {
      if (hex_digit(c) < 0) return false;
      id = 16 * id + static_cast<std::uint32_t>(hex_digit(c));
    }
    out_.frame.error = digits.size() == 8 && (id & error_bit) != 0;
    out_.frame.extended = digits.size() == 8 && !out_.frame.error;
    out_.frame.id = out_.frame.error ? id & ~error_bit : id;
    return true;
  }

  bool byte(std::string_view two) {
    if (two.size() != 2 || hex_digit(two[0]) < 0 || hex_digit(two[1]) < 0 || size_ == out_.data.size()) return false;
    out_.data[size_++] = static_cast<std::byte>(16 * hex_digit(two[0]) + hex_digit(two[1]));
    return true;
  }

  // "123#112233", "123#R4", "123##1112233"
  std::string compact(std::string_view all, std::size_t hash) {
    if (!identifier(all.substr(0, hash)))
      return "found '" + std::string{all.substr(0, hash)} + "' as identifier; allowed: 3 or 8 hexadecimal digits";
    auto rest = all.substr(hash + 1);
    if (!rest.empty() && rest.front() == '#') {
      const int flags = rest.size() > 1 ? hex_digit(rest[1]) : -1;
      if (flags < 0) return "no flags behind '##'; allowed: a hexadecimal digit";
      out_.frame.fd = true;
      out_.frame.bit_rate_switch = (flags & 1) != 0;  // CANFD_BRS and CANFD_ESI of linux/can.h
      out_.frame.error_passive = (flags & 2) != 0;
      rest.remove_prefix(2);
    } else if (!rest.empty() && (rest.front() == 'R' || rest.front() == 'r')) {
      out_.frame.remote = true;
      return "";
    }
    rest = rest.substr(0, rest.find('_'));  // a raw length code of 9 to 15 stands for 8 bytes
    while (!rest.empty()) {
      if (rest.front() == '.') rest.remove_prefix(1);
      if (!byte(rest.substr(0, 2)))
        return "found '" + std::string{rest.substr(0, 8)} + "' as data; allowed: two hexadecimal digits a byte";
      rest.remove_prefix(2);
    }
    return "";
  }

  // "123   [3]  11 22 33", "123   [0]  remote request", "20000004   [8]  00 ...   ERRORFRAME"
  std::string spelled(std::string_view id) {
    if (!identifier(id)) return "found '" + std::string{id} + "' as identifier; allowed: 3 or 8 hexadecimal digits";
    auto length = word();
    const bool bracketed = length.size() >= 3 && length.front() == '[' && length.back() == ']';
    if (bracketed) length = length.substr(1, length.size() - 2);
    std::size_t bytes = 0;
    for (const char c : length) {
      if (!bracketed || std::isdigit(static_cast<unsigned char>(c)) == 0 || bytes > out_.data.size())
        return "no length in brackets behind the identifier; allowed: as in \"123   [2]  11 22\"";
      bytes = 10 * bytes + static_cast<std::size_t>(c - '0');
    }
    if (length.empty()) return "no length in brackets behind the identifier; allowed: as in \"123   [2]  11 22\"";
    out_.frame.fd = length.size() == 2;  // candump writes two digits for FD frames, one for classic ones
    if (text_.find("remote request") != std::string_view::npos) {
      out_.frame.remote = true;
      return "";
    }
    for (std::size_t i = 0; i < bytes; ++i)
      if (const auto two = word(); !byte(two))
        return "found '" + std::string{two} + "' as data; allowed: " + std::to_string(bytes) +
               " bytes of two hexadecimal digits each";
    return "";
  }

  std::string_view text_;
  CandumpLine& out_;
  std::size_t size_{0};
};

}  // namespace

std::string read_candump_line(std::string_view text, CandumpLine& out) { return Reader{text, out}.read(); }

}  // namespace trackrod
