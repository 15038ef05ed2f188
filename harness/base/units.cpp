#include "harness/base/units.hpp"

#include <sys/mman.h>
#include <udunits2.h>
#include <unistd.h>

#include <charconv>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <mutex>
#include <string_view>
#include <vector>

#include "harness/base/problems.hpp"
#include "units_xml.hpp"  // made by the build from units.xml

namespace trackrod {
namespace {

// The library's system of units; read once. Its parser is not thread-safe, hence the lock.
class UnitSystem {
 public:
  static UnitSystem& get() {
    static UnitSystem the_one;
    return the_one;
  }
  std::shared_ptr<void> parse(const std::string& text) {
    const std::lock_guard lock{mutex_};
    ut_unit* unit = ut_parse(system_, text.c_str(), UT_ASCII);
    if (unit == nullptr) return nullptr;
    return {unit, [](void* u) { ut_free(static_cast<ut_unit*>(u)); }};
  }
  ut_unit* one() const { return one_; }
  std::mutex& mutex() { return mutex_; }
  const std::vector<std::string>& symbols() const { return symbols_; }

 private:
  // The library reads only files, and the program is to be one file: hand it a file in memory.
  UnitSystem() {
    ut_set_error_message_handler(ut_ignore);
    const int fd = memfd_create("units.xml", MFD_CLOEXEC);
    const std::string_view xml{units_xml};
    const bool written = fd >= 0 && write(fd, xml.data(), xml.size()) == static_cast<ssize_t>(xml.size());
    if (written) system_ = ut_read_xml(("/proc/self/fd/" + std::to_string(fd)).c_str());
    if (fd >= 0) close(fd);
    if (system_ == nullptr) {
      std::fputs("trackrod: the built-in table of units does not load\n", stderr);
      std::abort();
    }
    one_ = ut_get_dimensionless_unit_one(system_);
    // The names to suggest: each unit, then each with a prefix. The table lists the prefixes first.
    const auto prefixes = symbols_in(xml.substr(0, xml.find("<unit>")));
    const auto plain = symbols_in(xml.substr(xml.find("<unit>")));
    symbols_ = plain;
    for (const auto& prefix : prefixes)
      for (const auto& symbol : plain) symbols_.push_back(prefix + symbol);
  }
  static std::vector<std::string> symbols_in(std::string_view xml) {
    constexpr std::string_view open = "<symbol>", shut = "</symbol>";
    std::vector<std::string> symbols;
    for (auto at = xml.find(open); at != std::string_view::npos; at = xml.find(open, at + 1)) {
      const auto from = at + open.size();
      symbols.emplace_back(xml.substr(from, xml.find(shut, from) - from));
    }
    return symbols;
  }
  ut_system* system_{nullptr};
  ut_unit* one_{nullptr};
  std::mutex mutex_;
  std::vector<std::string> symbols_;
};

// Signs that people write and the table spells in ASCII.
std::string in_ascii(std::string text) {
  using Spelling = std::pair<std::string_view, std::string_view>;
  for (const auto& [sign, ascii] : {Spelling{"\u00B0", "deg"}, Spelling{"\u00B5", "u"}, Spelling{"\u03BC", "u"},
                                    Spelling{"\u03A9", "ohm"}, Spelling{"\u2126", "ohm"}})
    for (auto at = text.find(sign); at != std::string::npos; at = text.find(sign, at))
      text.replace(at, sign.size(), ascii);
  return text;
}

const ut_unit* raw(const std::shared_ptr<void>& handle) {
  return handle ? static_cast<const ut_unit*>(handle.get()) : UnitSystem::get().one();
}

}  // namespace

Result<Unit> Unit::parse(const std::string& text) {
  Unit unit;
  if (text.empty() || text == "1") return unit;
  unit.text_ = text;
  // A leading digit would be read as a scale factor: "40 12 ms" is a mistake, not 480 ms. With a space or '@' the
  // library takes "deg 3", shifted origins, dates and logarithms.
  if (std::string_view{"0123456789.+-"}.find(text.front()) == std::string_view::npos &&
      text.find_first_of(" @") == std::string::npos)
    unit.handle_ = UnitSystem::get().parse(text);
  if (!unit.handle_) {
    auto sentence = "'" + text + "' is no known unit";
    const auto ascii = in_ascii(text);
    const auto near = ascii != text ? ascii : nearest(text, UnitSystem::get().symbols());
    if (!near.empty()) sentence += "; did you mean '" + near + "'?";
    return fail(Fault::bad_input, sentence);
  }
  return unit;
}

Unit Unit::known(const std::string& text) {
  auto unit = parse(text);
  if (!unit) {
    std::fprintf(stderr, "trackrod: %s\n", unit.error().context.c_str());
    std::abort();
  }
  return *unit;
}

bool Unit::same_dimension(const Unit& other) const {
  if (!handle_ && !other.handle_) return true;
  const std::lock_guard lock{UnitSystem::get().mutex()};
  // Not ut_are_convertible: that one takes s for Hz, by way of the reciprocal.
  ut_unit* ratio = ut_divide(raw(handle_), raw(other.handle_));
  if (ratio == nullptr) return false;
  const bool same = ut_is_dimensionless(ratio) != 0;
  ut_free(ratio);
  return same && ut_are_convertible(raw(handle_), raw(other.handle_)) != 0;
}

Result<Conversion> Conversion::between(const Unit& from, const Unit& to) {
  Conversion c;
  if (from.text_ == to.text_) return c;
  if (!from.same_dimension(to))
    return fail(Fault::bad_input, "'" + from.text_ + "' and '" + to.text_ + "' measure different quantities");
  const std::lock_guard lock{UnitSystem::get().mutex()};
  cv_converter* converter =
      ut_get_converter(const_cast<ut_unit*>(raw(from.handle_)), const_cast<ut_unit*>(raw(to.handle_)));
  if (converter == nullptr)
    return fail(Fault::bad_input, "'" + from.text_ + "' does not convert to '" + to.text_ + "'");
  c.offset_ = cv_convert_double(converter, 0.0);
  c.gain_ = cv_convert_double(converter, 1.0) - c.offset_;
  cv_free(converter);
  return c;
}

Result<Quantity> Quantity::parse(const std::string& text) {
  const char* begin = text.c_str();
  const char* end = begin + text.size();
  while (begin < end && *begin == ' ') ++begin;
  const char* digits = begin + 1 < end && begin[0] == '+' && begin[1] != '-' ? begin + 1 : begin;
  Quantity q;
  const auto [rest, error] = std::from_chars(digits, end, q.value);
  if (error != std::errc{} || rest == digits || !std::isfinite(q.value))
    return fail(Fault::bad_input, "'" + text + "' is no quantity; write a number and a unit, as in \"12.5 deg\"");
  std::string unit_text{rest, end};
  unit_text.erase(0, unit_text.find_first_not_of(' '));
  while (!unit_text.empty() && unit_text.back() == ' ') unit_text.pop_back();
  auto unit = Unit::parse(unit_text);
  if (!unit) return tl::unexpected<Error>{unit.error()};
  q.unit = *unit;
  return q;
}

Result<double> Quantity::in(const Unit& wanted) const {
  auto convert = Conversion::between(unit, wanted);
  if (!convert) return tl::unexpected<Error>{convert.error()};
  return (*convert)(value);
}

std::string shown(double value, int digits) {
  char text[40];
  std::snprintf(text, sizeof text, "%.*g", digits, value);
  return text;
}

}  // namespace trackrod
