#include "harness/recording/number_text.hpp"

#include <array>
#include <charconv>
#include <chrono>
#include <cmath>
#include <cstdlib>

namespace trackrod {
namespace {

// Half of what 64 bits hold, so that the difference of any two times can be told: 146 years.
constexpr std::int64_t most_ns = std::int64_t{1} << 62;

bool is_digit(char c) { return c >= '0' && c <= '9'; }

std::string_view trimmed(std::string_view text) {
  constexpr std::string_view spaces = " \t";
  const auto first = text.find_first_not_of(spaces);
  if (first == std::string_view::npos) return {};
  return text.substr(first, text.find_last_not_of(spaces) - first + 1);
}

// A number taken apart: sign, digits before and behind the decimal sign, exponent.
struct Parts {
  bool negative{false};
  std::string_view whole, fraction;
  int exponent{0};
};

std::optional<Parts> take_apart(std::string_view text, char decimal) {
  Parts p;
  std::size_t i = 0;
  if (i < text.size() && (text[i] == '+' || text[i] == '-')) p.negative = text[i++] == '-';
  const auto digits = [&] {
    const auto from = i;
    while (i < text.size() && is_digit(text[i])) ++i;
    return text.substr(from, i - from);
  };
  p.whole = digits();
  if (i < text.size() && text[i] == decimal) {
    ++i;
    p.fraction = digits();
  }
  if (p.whole.empty() && p.fraction.empty()) return std::nullopt;
  if (i == text.size()) return p;
  if (text[i] != 'e' && text[i] != 'E') return std::nullopt;
  ++i;
  const bool small = i < text.size() && text[i] == '-';
  if (i < text.size() && (text[i] == '+' || text[i] == '-')) ++i;
  const auto exponent = digits();
  if (exponent.empty() || i != text.size()) return std::nullopt;
  // Beyond what a double reaches all exponents are alike.
  const auto bounded = exponent.substr(std::min(exponent.find_first_not_of('0'), exponent.size()));
  p.exponent = bounded.empty() ? 0 : bounded.size() > 5 ? 99999 : std::atoi(std::string{bounded}.c_str());
  if (small) p.exponent = -p.exponent;
  return p;
}

// 10^-places of a unit, in whole nanoseconds, at least 1.
std::int64_t step_of(int places, double unit_ns) {
  const double step = unit_ns * std::pow(10.0, -places);
  return step < 1.0 ? 1 : step > 9e18 ? INT64_MAX : std::llround(step);
}

__extension__ using Wide = unsigned __int128;

// The fraction 0.DIGITS of a unit, in whole nanoseconds; half of one goes up. Digits beyond the 18th do not count.
std::int64_t share_of(std::string_view digits, std::int64_t unit_ns) {
  Wide share = 0, whole = 1;
  for (const char c : digits.substr(0, 18)) {
    share = 10 * share + static_cast<unsigned>(c - '0');
    whole *= 10;
  }
  return static_cast<std::int64_t>((2 * share * static_cast<Wide>(unit_ns) + whole) / (2 * whole));
}

// Reads exactly `count` digits off the front.
std::optional<int> take_number(std::string_view& text, std::size_t count) {
  int value = 0;
  if (text.size() < count) return std::nullopt;
  for (std::size_t i = 0; i < count; ++i) {
    if (!is_digit(text[i])) return std::nullopt;
    value = 10 * value + (text[i] - '0');
  }
  text.remove_prefix(count);
  return value;
}

bool take_sign(std::string_view& text, char sign) {
  if (text.empty() || text.front() != sign) return false;
  text.remove_prefix(1);
  return true;
}

struct DayTime {
  std::int64_t seconds{0};
  bool has_offset{false};
};

// "Z", "+01:00" and the like; empty text: none. The sum goes to `t`.
bool take_offset(std::string_view text, bool extended, DayTime& t) {
  if (text.empty()) return true;
  t.has_offset = true;
  if (text == "Z" || text == "z") return true;
  const bool behind = take_sign(text, '-');
  if (!behind && !take_sign(text, '+')) return false;
  const auto hours = take_number(text, 2);
  int minutes = 0;
  if (!text.empty()) {
    if (take_sign(text, ':') != extended) return false;
    const auto m = take_number(text, 2);
    if (!m) return false;
    minutes = *m;
  }
  if (!hours || *hours > 23 || minutes > 59 || !text.empty()) return false;
  const std::int64_t offset = 3600 * *hours + 60 * minutes;
  t.seconds += behind ? offset : -offset;
  return true;
}

}  // namespace

std::optional<NumberText> read_number(std::string_view text, char decimal) {
  text = trimmed(text);
  const auto parts = take_apart(text, decimal);
  if (!parts) return std::nullopt;
  // The library wants a point, and no plus in front.
  std::array<char, 64> room;
  std::string longer;
  if (text.front() == '+') text.remove_prefix(1);
  char* begin = room.data();
  if (text.size() > room.size())
    begin = (longer = text).data();
  else
    std::copy(text.begin(), text.end(), begin);
  char* end = begin + text.size();
  if (decimal != '.')
    for (char* c = begin; c != end; ++c)
      if (*c == decimal) *c = '.';
  NumberText out;
  out.places = static_cast<int>(std::min<std::size_t>(parts->fraction.size(), 99999)) - parts->exponent;
  const auto [rest, error] = std::from_chars(begin, end, out.value);
  if (error ==
      std::errc::result_out_of_range)  // too great, or too small to be told from nothing: that library says which
    out.value = std::strtod(std::string{begin, end}.c_str(), nullptr);
  else if (error != std::errc{} || rest != end)
    return std::nullopt;
  if (!std::isfinite(out.value)) return std::nullopt;
  return out;
}

std::optional<TimeText> read_elapsed(std::string_view text, char decimal, std::int64_t unit_ns) {
  text = trimmed(text);
  const auto parts = take_apart(text, decimal);
  if (!parts) return std::nullopt;
  TimeText out;
  out.step_ns = step_of(static_cast<int>(std::min<std::size_t>(parts->fraction.size(), 99)) - parts->exponent,
                        static_cast<double>(unit_ns));
  if (parts->exponent != 0) {  // no more digits than a double holds
    const auto number = read_number(text, decimal);
    const double ns = number ? number->value * static_cast<double>(unit_ns) : INFINITY;
    if (!(std::abs(ns) <= static_cast<double>(most_ns))) return std::nullopt;
    out.ns = std::llround(ns);
    return out;
  }
  // The whole part in whole numbers, so that seconds since 1970 keep their nanoseconds.
  std::int64_t whole = 0, ns = 0;
  if (!parts->whole.empty()) {
    const auto* end = parts->whole.data() + parts->whole.size();
    if (const auto [rest, error] = std::from_chars(parts->whole.data(), end, whole); error != std::errc{})
      return std::nullopt;
  }
  const auto part = share_of(parts->fraction, unit_ns);
  if (__builtin_mul_overflow(whole, unit_ns, &ns) || __builtin_add_overflow(ns, part, &ns) || ns > most_ns)
    return std::nullopt;
  out.ns = parts->negative ? -ns : ns;
  return out;
}

std::optional<DateText> read_date_time(std::string_view text) {
  text = trimmed(text);
  const auto year = take_number(text, 4);
  if (!year || *year < 1825 || *year > 2115) return std::nullopt;
  const bool extended = take_sign(text, '-');
  const auto month = take_number(text, 2);
  if (!month || take_sign(text, '-') != extended) return std::nullopt;
  const auto day = take_number(text, 2);
  if (!day || !(take_sign(text, 'T') || take_sign(text, 't') || take_sign(text, ' '))) return std::nullopt;
  const auto hour = take_number(text, 2);
  if (!hour || take_sign(text, ':') != extended) return std::nullopt;
  const auto minute = take_number(text, 2);
  if (!minute) return std::nullopt;
  const std::chrono::year_month_day date{std::chrono::year{*year}, std::chrono::month{static_cast<unsigned>(*month)},
                                         std::chrono::day{static_cast<unsigned>(*day)}};
  int second = 0;
  DateText out;
  out.step_ns = 60'000'000'000;
  std::string_view fraction;
  // Without seconds what follows must be an offset.
  if (!text.empty() && (extended ? text.front() == ':' : is_digit(text.front()))) {
    if (extended) text.remove_prefix(1);
    const auto s = take_number(text, 2);
    if (!s) return std::nullopt;
    second = *s;
    out.step_ns = 1'000'000'000;
    if (take_sign(text, ',') || take_sign(text, '.')) {
      std::size_t n = 0;
      while (n < text.size() && is_digit(text[n])) ++n;
      if (n == 0) return std::nullopt;
      fraction = text.substr(0, n);
      text.remove_prefix(n);
      out.step_ns = step_of(static_cast<int>(std::min<std::size_t>(n, 99)), 1e9);
    }
  }
  if (!date.ok() || *hour > 23 || *minute > 59 || second > 59) return std::nullopt;
  DayTime t;
  if (!take_offset(text, extended, t)) return std::nullopt;
  const std::int64_t days = std::chrono::sys_days{date}.time_since_epoch().count();
  t.seconds += ((days * 24 + *hour) * 60 + *minute) * 60 + second;
  out.ns = t.seconds * 1'000'000'000 + share_of(fraction, 1'000'000'000);
  out.has_offset = t.has_offset;
  return out;
}

}  // namespace trackrod
