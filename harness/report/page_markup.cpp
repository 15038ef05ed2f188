#include <cmath>

#include "harness/base/units.hpp"
#include "harness/report/page.hpp"
#include "harness/report/text.hpp"

namespace trackrod::page {

std::string wrap(std::string_view name, const std::string& inside, std::string_view css_class) {
  const std::string tag{name};
  const auto attribute = css_class.empty() ? "" : " class=\"" + escaped(css_class) + "\"";
  return "<" + tag + attribute + ">" + inside + "</" + tag + ">";
}

std::string element(std::string_view name, std::string_view text, std::string_view css_class) {
  return wrap(name, escaped(text), css_class);
}

std::string link(const std::string& anchor, const std::string& inside, std::string_view css_class) {
  const auto attribute = css_class.empty() ? "" : " class=\"" + escaped(css_class) + "\"";
  return "<a" + attribute + " href=\"#" + escaped(anchor) + "\">" + inside + "</a>";
}

std::string section(const std::string& title, const std::string& inside) {
  return "<section>\n" + element("h2", title) + "\n" + inside + "\n</section>\n";
}

std::string table(std::initializer_list<std::string_view> heads, const std::vector<std::vector<std::string>>& rows,
                  std::string_view none) {
  if (rows.empty()) return element("p", none);
  std::string head, body;
  for (const auto& h : heads) head += "<th scope=\"col\">" + escaped(h) + "</th>";
  for (const auto& row : rows) {
    body += "<tr>";
    for (const auto& cell : row) body += "<td>" + cell + "</td>";
    body += "</tr>\n";
  }
  return wrap("div", "<table><thead><tr>" + head + "</tr></thead>\n<tbody>" + body + "</tbody></table>", "wide");
}

std::string facts_table(const Facts& facts) {
  std::string body;
  for (const auto& [what, value] : facts)
    body += "<tr><th scope=\"row\">" + escaped(what) + "</th><td>" +
            (value.empty() ? element("span", "not recorded", "soft") : escaped(value)) + "</td></tr>\n";
  return "<table><tbody>" + body + "</tbody></table>";
}

std::string bullet_list(const std::vector<std::string>& texts) {
  std::string items;
  for (const auto& t : texts) items += element("li", t) + "\n";
  return wrap("ul", items);
}

std::string span_text(Duration span) {
  const double s = seconds(span), size = std::abs(s);
  if (size < 0.9995e-3) return shown(s * 1e6, 3) + " µs";
  if (size < 0.9995) return shown(s * 1e3, 3) + " ms";
  if (size < 99.95) return shown(s, 3) + " s";
  const auto whole = static_cast<long long>(std::llround(s));
  if (size < 3600.0) return std::to_string(whole / 60) + " min " + std::to_string(whole % 60) + " s";
  return std::to_string(whole / 3600) + " h " + std::to_string(whole / 60 % 60) + " min";
}

}  // namespace trackrod::page
