// Recordings in columns.

#include <algorithm>
#include <cmath>
#include <limits>

#include "harness/recording/csv_reader.hpp"
#include "harness/recording/number_text.hpp"
#include "harness/recording/reading.hpp"

namespace trackrod {
namespace {

std::string trimmed(const std::string& text) {
  const auto first = text.find_first_not_of(" \t");
  if (first == std::string::npos) return "";
  return text.substr(first, text.find_last_not_of(" \t") - first + 1);
}

// As it stands in the file, short enough for a sentence.
std::string quoted(const std::string& text) { return "'" + text.substr(0, 40) + (text.size() > 40 ? "..." : "") + "'"; }

class CsvRecording {
 public:
  CsvRecording(const ImportDescription& description, const CsvForm& form, ByteSource source, ReadCounts& counts,
               RecordingSink& sink)
      : description_{description},
        form_{form},
        reader_{std::move(source), form.separator},
        counts_{counts},
        sink_{sink},
        rows_{description, counts} {}

  Result<void> read() {
    if (auto begun = begin(); !begun) return begun;
    counts_.marked = reader_.marked();
    while (more_) {
      if (reader_.blank() && width_ > 1) {
        ++counts_.blank_lines;
      } else if (const auto why = take_row()) {
        if (auto told = rows_.bad(reader_.line(), *why); !told) return told;
      } else if (auto given = give(); !given) {
        return given;
      }
      if (auto next = advance(); !next) return next;
    }
    return {};
  }

 private:
  Result<void> advance() {
    const auto next = reader_.next();
    if (!next) return tl::unexpected<Error>{next.error()};
    more_ = *next;
    return {};
  }

  // Up to the first row.
  Result<void> begin() {
    for (std::uint64_t i = 0; i < form_.lines_above; ++i) {
      const auto skipped = reader_.skip_line();
      if (!skipped) return tl::unexpected<Error>{skipped.error()};
      if (!*skipped) return fail(Fault::bad_input, "the file ends within the lines above the table");
    }
    if (auto next = advance(); !next) return next;
    if (!more_) return fail(Fault::bad_input, "the file holds no table");
    width_ = reader_.fields().size();
    if (auto found = find_columns(); !found) return found;
    return form_.heads ? advance() : Result<void>{};
  }

  Result<void> find_columns() {
    std::vector<std::string> heads, wrong;
    if (form_.heads)
      for (const auto& head : reader_.fields()) heads.push_back(trimmed(head));
    const auto find = [&](const ColumnRef& ref) -> std::size_t {
      if (ref.name.empty()) {
        if (ref.number > width_)
          wrong.push_back("no column " + std::to_string(ref.number) + ": the table has " + std::to_string(width_));
        return ref.number - 1;
      }
      const auto name = trimmed(ref.name);
      const auto at = std::find(heads.begin(), heads.end(), name);
      if (at == heads.end())
        wrong.push_back("no column " + quoted(name) + "; allowed: " + one_of(heads) +
                        (did_you_mean(name, heads).empty() ? "" : "; " + did_you_mean(name, heads)));
      else if (std::find(at + 1, heads.end(), name) != heads.end())
        wrong.push_back("two columns " + quoted(name) + "; name the one that is meant by its number");
      return static_cast<std::size_t>(at - heads.begin());
    };
    if (form_.time) time_column_ = find(*form_.time);
    for (const auto& column : form_.columns) columns_.push_back(find(column));
    if (wrong.empty()) return {};
    std::string all;
    for (const auto& w : wrong) all += (all.empty() ? "" : "; ") + w;
    if (width_ == 1) all += "; the table has one column only: is \"separator\" right?";
    return bad_line(reader_.line(), all);
  }

  // Why the row cannot be read; empty: it is in when_ and values_.
  std::optional<std::string> take_row() {
    const auto cells = reader_.fields();
    if (cells.size() != width_)
      return std::to_string(cells.size()) + " fields; allowed: " + std::to_string(width_) +
             ", as in the first row (RFC 4180, 2.4)";
    if (auto why = take_time(cells)) return why;
    values_.resize(columns_.size());
    missing_ = 0;
    for (std::size_t i = 0; i < columns_.size(); ++i)
      if (auto why = take_value(cells[columns_[i]], i)) return why;
    return rows_.time(when_);
  }

  std::optional<std::string> take_time(std::span<const std::string> cells) {
    if (!form_.time) {
      when_ = BenchTime{form_.every * static_cast<Duration::rep>(row_++)};
      return std::nullopt;
    }
    const auto& cell = cells[time_column_];
    std::int64_t ns = 0;
    Duration step{};
    if (form_.time_form == TimeForm::iso8601) {
      const auto date = read_date_time(cell);
      if (!date) return "found " + quoted(cell) + " as time; allowed: a date and time as 2026-11-25T14:03:12.5+01:00";
      counts_.no_offset = counts_.no_offset || !date->has_offset;
      ns = date->ns;
      step = Duration{date->step_ns};
    } else {
      const auto time = read_elapsed(cell, form_.decimal, form_.time_unit_ns);
      if (!time) return "found " + quoted(cell) + " as time; allowed: a number" + decimal_words();
      ns = time->ns;
      step = Duration{time->step_ns};
    }
    if (form_.time_form != TimeForm::elapsed) {
      if (!counts_.wall_of_zero) counts_.wall_of_zero = ns;
      ns -= *counts_.wall_of_zero;
    }
    if (counts_.stamp_step == Duration{} || step < counts_.stamp_step) counts_.stamp_step = step;
    when_ = BenchTime{Duration{ns}};
    return std::nullopt;
  }

  std::optional<std::string> take_value(const std::string& cell, std::size_t i) {
    const auto& spec = description_.signals[i];
    const auto plain = trimmed(cell);
    if (std::find(form_.no_value.begin(), form_.no_value.end(), plain) != form_.no_value.end()) {
      ++missing_;
      values_[i] = std::numeric_limits<double>::quiet_NaN();
      return std::nullopt;
    }
    const auto number = read_number(plain, form_.decimal);
    if (!number)
      return "found " + quoted(cell) + " for '" + spec.info.name + "' (column " + std::to_string(columns_[i] + 1) +
             "); allowed: a number" + decimal_words() + ", or a text that 'no_value' names";
    values_[i] = spec.gain * number->value + spec.offset;
    counts_.places[i] = std::max(counts_.places[i], number->places);
    return std::nullopt;
  }

  std::string decimal_words() const {
    return std::string{" with a decimal "} + (form_.decimal == '.' ? "point" : "comma");
  }

  Result<void> give() {
    if (counts_.rows++ > 0 && when_ == last_ && counts_.equal_times++ == 0) counts_.equal_line = reader_.line();
    last_ = when_;
    counts_.no_values += missing_;
    if (auto taken = sink_.at(when_); !taken) return taken;
    for (std::size_t i = 0; i < values_.size(); ++i) sink_.sample(static_cast<SignalIndex>(i), when_, values_[i]);
    return {};
  }

  const ImportDescription& description_;
  const CsvForm& form_;
  CsvReader reader_;
  ReadCounts& counts_;
  RecordingSink& sink_;
  RowKeeper rows_;
  bool more_{true};
  std::size_t width_{0}, time_column_{0};
  std::vector<std::size_t> columns_;  // by signal
  BenchTime when_{}, last_{};
  std::uint64_t row_{0}, missing_{0};
  std::vector<double> values_;  // by signal
};

}  // namespace

Result<void> read_csv(const ImportDescription& description, const CsvForm& form, ByteSource source, ReadCounts& counts,
                      RecordingSink& sink) {
  return CsvRecording{description, form, std::move(source), counts, sink}.read();
}

}  // namespace trackrod
