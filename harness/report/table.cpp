#include "harness/report/table.hpp"

#include <algorithm>
#include <cctype>
#include <cstdlib>
#include <cstring>

#include "harness/report/rounding.hpp"
#include "harness/report/text.hpp"

namespace trackrod {
namespace {

constexpr std::size_t gap = 2;
enum Column : std::size_t { verdict, name, value, limit, requirement, step, column_count };

std::string loud(std::string word) {
  for (auto& c : word) c = static_cast<char>(std::toupper(static_cast<unsigned char>(c)));
  return word;
}

std::string verdict_word(const Finding& finding) { return finding.judged ? loud(verdict_name(finding.verdict)) : "-"; }

std::string coloured(const std::string& text, const Finding& finding) {
  if (!finding.judged) return text;
  const char* code = "33";  // yellow: inconclusive, not run and invalid
  if (finding.verdict == Verdict::pass) code = "32";
  if (finding.verdict == Verdict::fail) code = "31";
  return "\033[1;" + std::string{code} + "m" + text + "\033[0m";
}

std::vector<std::string> cells_of(const Finding& f) {
  std::vector<std::string> cells(column_count);
  cells[verdict] = verdict_word(f);
  cells[name] = f.name;
  cells[value] = value_text(f);
  cells[limit] = f.limit ? limit_text(f) : "";
  cells[requirement] = f.requirement;
  cells[step] = f.step;
  return cells;
}

// A row of cells, or the words that stand in their place.
std::string joined(const std::vector<std::string>& cells, const std::vector<std::size_t>& widths) {
  std::string line;
  for (std::size_t i = 0; i < cells.size(); ++i) line += padded(cells[i], widths[i]) + std::string(gap, ' ');
  line.erase(line.find_last_not_of(' ') + 1);
  return line;
}

void indented(std::string& out, const std::string& text, std::size_t indent, std::size_t width) {
  for (const auto& line : wrapped(text, width - indent)) out += std::string(indent, ' ') + line + "\n";
}

struct Row {
  const Finding& finding;
  std::vector<std::string> cells;
  std::string reason;
};

std::string one_line_each(const std::vector<Row>& rows, const std::vector<std::size_t>& widths,
                          const TableOptions& options) {
  const std::vector<std::string> heads{"VERDICT", "FINDING", "VALUE ± U", "LIMIT", "REQUIREMENT", "STEP"};
  auto out = joined(heads, widths) + "\n";
  for (const auto& row : rows) {
    auto line = joined(row.cells, widths);
    const auto& word = row.cells[verdict];
    if (options.colour) line = coloured(word, row.finding) + line.substr(word.size());
    out += line + "\n";
    if (!row.reason.empty()) indented(out, row.reason, widths[verdict] + gap, static_cast<std::size_t>(options.width));
  }
  return out;
}

// For narrow terminals: the verdict and the name, then the rest below.
std::string block_each(const std::vector<Row>& rows, std::size_t indent, const TableOptions& options) {
  const auto width = static_cast<std::size_t>(options.width);
  std::string out;
  for (const auto& row : rows) {
    const auto& word = row.cells[verdict];
    const auto names = wrapped(row.cells[name], width - indent);
    for (std::size_t i = 0; i < names.size(); ++i) {
      const auto head = i > 0 ? "" : options.colour ? coloured(word, row.finding) : word;
      out += head + std::string(indent - (i > 0 ? 0 : word.size()), ' ') + names[i] + "\n";
    }
    auto numbers = row.cells[value];
    if (!row.cells[limit].empty()) numbers += ", limit " + row.cells[limit];
    indented(out, numbers, indent, width);
    auto place = row.cells[requirement];
    if (!row.cells[step].empty()) place += (place.empty() ? "" : ", ") + std::string{"step "} + row.cells[step];
    if (!place.empty()) indented(out, place, indent, width);
    if (!row.reason.empty()) indented(out, row.reason, indent, width);
  }
  return out;
}

}  // namespace

Tally tally(const std::vector<Finding>& findings) {
  Tally out;
  for (const auto& f : findings) {
    if (!f.judged) {
      ++out.unjudged;
      continue;
    }
    switch (f.verdict) {
      case Verdict::pass:
        ++out.pass;
        break;
      case Verdict::fail:
        ++out.fail;
        break;
      case Verdict::inconclusive:
        ++out.inconclusive;
        break;
      case Verdict::not_run:
        ++out.not_run;
        break;
      case Verdict::invalid:
        ++out.invalid;
        break;
    }
  }
  return out;
}

std::string tally_text(const Tally& c) {
  auto text = std::to_string(c.pass) + " pass, " + std::to_string(c.fail) + " fail, " + std::to_string(c.inconclusive) +
              " inconclusive, " + std::to_string(c.not_run) + " not run";
  if (c.invalid > 0) text += ", " + std::to_string(c.invalid) + " invalid";
  if (c.unjudged > 0) text += ", " + std::to_string(c.unjudged) + " without a limit";
  return text;
}

std::optional<Verdict> overall(const std::vector<Finding>& findings) { return overall(tally(findings)); }

std::optional<Verdict> overall(const Tally& counts) {
  if (counts.invalid > 0) return Verdict::invalid;
  if (counts.fail > 0) return Verdict::fail;
  if (counts.inconclusive > 0) return Verdict::inconclusive;
  if (counts.not_run > 0) return Verdict::not_run;
  if (counts.pass > 0) return Verdict::pass;
  return std::nullopt;
}

int exit_status(const std::vector<Finding>& findings) {
  const auto worst = overall(findings);
  if (!worst || *worst == Verdict::pass) return 0;
  return *worst == Verdict::fail ? 1 : 4;
}

bool colour_wanted(bool is_terminal) {
  const char* refused = std::getenv("NO_COLOR");
  const char* terminal = std::getenv("TERM");
  return is_terminal && !(refused && *refused) && !(terminal && std::strcmp(terminal, "dumb") == 0);
}

std::string findings_table(const std::vector<Finding>& findings, TableOptions options) {
  options.width = std::max(options.width, 40);
  std::vector<Row> rows;
  std::vector<std::size_t> widths{7, 7, 9, 5, 11, 4};  // of the heads
  for (const auto& f : findings) {
    rows.push_back({f, cells_of(f), options.unicode ? f.reason : ascii_only(f.reason)});
    for (auto& cell : rows.back().cells)
      if (!options.unicode) cell = ascii_only(cell);
    for (std::size_t i = 0; i < column_count; ++i) widths[i] = std::max(widths[i], columns(rows.back().cells[i]));
  }
  std::size_t needed = gap * (column_count - 1);
  for (const auto w : widths) needed += w;

  std::string out;
  if (!rows.empty())
    out = (needed <= static_cast<std::size_t>(options.width) ? one_line_each(rows, widths, options)
                                                             : block_each(rows, widths[verdict] + gap, options)) +
          "\n";
  const auto worst = overall(findings);
  indented(out, (worst ? loud(verdict_name(*worst)) : "NOTHING JUDGED") + ": " + tally_text(tally(findings)), 0,
           static_cast<std::size_t>(options.width));
  return options.unicode ? out : ascii_only(out);
}

}  // namespace trackrod
