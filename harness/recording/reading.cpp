#include "harness/recording/reading.hpp"

#include "harness/base/units.hpp"
#include "harness/recording/text_lines.hpp"

namespace trackrod {
namespace {

constexpr std::size_t most_reasons = 5;

std::string counted(std::uint64_t n, const std::string& one, const std::string& many) {
  return std::to_string(n) + " " + (n == 1 ? one : many);
}

}  // namespace

std::vector<std::string> ReadCounts::notes() const {
  std::vector<std::string> out;
  if (left_out > 0) {
    auto text = counted(left_out, "row", "rows") + " could not be read and " + (left_out == 1 ? "was" : "were") +
                " left out, as the description allows:";
    for (const auto& why : left_out_first) text += " " + why + ";";
    if (left_out > left_out_first.size()) text += " and so on;";
    text.pop_back();
    out.push_back(text);
  }
  if (no_values > 0) out.push_back(counted(no_values, "cell", "cells") + " said \"no value\"");
  if (equal_times > 0)
    out.push_back(counted(equal_times, "row has", "rows have") + " the time of the row before, first in line " +
                  std::to_string(equal_line) + "; scores use the first of such samples");
  if (blank_lines > 0) out.push_back(counted(blank_lines, "blank line", "blank lines"));
  if (error_frames > 0) out.push_back(counted(error_frames, "error frame", "error frames") + " of the bus");
  if (remote_frames > 0) out.push_back(counted(remote_frames, "remote request", "remote requests") + ", not read");
  if (foreign_frames > 0)
    out.push_back(counted(foreign_frames, "frame", "frames") + " of others, which the description does not know");
  out.insert(out.end(), rejected.begin(), rejected.end());
  if (marked) out.push_back("the file begins with a byte order mark, which was skipped");
  if (no_offset) out.push_back("the dates have no offset from UTC and were taken as UTC");
  return out;
}

Result<void> RowKeeper::bad(std::uint64_t line, const std::string& why) {
  if (!description_.leaves_out_bad_rows)
    return bad_line(line, why + "; to leave such rows out, counted and told: \"bad_rows\": \"leave_out\"");
  ++counts_.left_out;
  if (counts_.left_out_first.size() < most_reasons)
    counts_.left_out_first.push_back("line " + std::to_string(line) + ": " + why);
  return {};
}

std::optional<std::string> RowKeeper::time(BenchTime when) {
  if (last_ && when < *last_)
    return "the time goes back by " + shown(seconds(*last_ - when)) + " s; allowed: times that grow from row to row";
  last_ = when;
  return std::nullopt;
}

Result<void> read_recording(const ImportDescription& description, ByteSource source, ReadCounts& counts,
                            RecordingSink& sink) {
  counts = {};
  counts.places.assign(description.signals.size(), INT32_MIN);
  const auto* csv = std::get_if<CsvForm>(&description.form);
  const auto outcome = csv != nullptr ? read_csv(description, *csv, std::move(source), counts, sink)
                                      : read_candump(description, std::get<CandumpForm>(description.form),
                                                     std::move(source), counts, sink);
  if (!outcome) return outcome;
  if (counts.rows == 0)
    return fail(Fault::bad_input, csv != nullptr ? "the file holds no row that can be read"
                                                 : "the file holds no frame that the description knows");
  return {};
}

}  // namespace trackrod
