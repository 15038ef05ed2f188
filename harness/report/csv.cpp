#include "harness/report/csv.hpp"

namespace trackrod {
namespace {

// RFC 4180, 2.5 to 2.7: quoted where it holds a comma, a quote or a line break; a quote is doubled.
std::string field(const std::string& text) {
  if (text.find_first_of(",\"\r\n") == std::string::npos) return text;
  std::string out = "\"";
  for (const char c : text) out += c == '"' ? std::string{"\"\""} : std::string(1, c);
  return out + "\"";
}

}  // namespace

std::string csv_line(const std::vector<std::string>& fields) {
  std::string out;
  for (std::size_t i = 0; i < fields.size(); ++i) out += (i > 0 ? "," : "") + field(fields[i]);
  return out + "\r\n";
}

}  // namespace trackrod
