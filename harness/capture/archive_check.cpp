// Compares a finished archive with the journal it was made from.
#include <algorithm>
#include <bit>

#include "harness/capture/archive.hpp"
#include "harness/capture/archive_layout.hpp"

namespace trackrod::archive {
namespace {

using hdf5::Column;
using hdf5::Hdf5Error;

// Walks down the rows of columns, a chunk at a time.
template <class Columns, class Rows>
struct Cursor {
  Columns columns;
  hsize_t total;
  Rows rows{};
  hsize_t read{0};
  std::size_t row{0};

  bool next() {
    if (++row < rows.size()) return true;
    if (read == total) return false;
    const auto count = std::min(Column::chunk_rows, total - read);
    rows.read_from(columns, read, count);
    read += count;
    row = 0;
    return true;
  }
  bool finished() const { return read == total && row + 1 >= rows.size(); }
};

bool same(const Sample& a, const Sample& b) {
  return a.when == b.when && std::bit_cast<std::uint64_t>(a.value) == std::bit_cast<std::uint64_t>(b.value) &&
         a.by == b.by && a.uncertainty_ns == b.uncertainty_ns;
}
bool same(const Tick& a, const Tick& b) {
  return a.due == b.due && a.number == b.number && a.late_ns == b.late_ns && a.work_ns == b.work_ns &&
         a.input_age_ns == b.input_age_ns;
}

bool same(const Event& a, const Event& b) {
  return a.when == b.when && std::bit_cast<std::uint64_t>(a.value) == std::bit_cast<std::uint64_t>(b.value) &&
         a.a == b.a && a.b == b.b && a.kind == b.kind;
}
bool same(const Span& a, const Span& b) {
  return a.step == b.step && a.cycle == b.cycle && a.from == b.from && a.to == b.to && a.complete == b.complete &&
         a.kept == b.kept;
}
bool same(const LeftOut& a, const LeftOut& b) {
  return a.from == b.from && a.to == b.to && a.samples == b.samples && a.ticks == b.ticks && a.missed == b.missed &&
         a.first_tick == b.first_tick && a.last_tick == b.last_tick && a.late_max == b.late_max &&
         a.work_max == b.work_max && a.input_age_max == b.input_age_max;
}
bool same(const Gap& a, const Gap& b) {
  return a.from == b.from && a.to == b.to && a.count == b.count && a.why == b.why;
}
bool same(const Note& a, const Note& b) { return a.when == b.when && a.device == b.device && a.text == b.text; }

template <class T>
void compare_lists(const std::vector<T>& a, const std::vector<T>& b, const std::string& what) {
  if (!std::equal(a.begin(), a.end(), b.begin(), b.end(), [](const T& x, const T& y) { return same(x, y); }))
    throw Hdf5Error{"the " + what + " read back differ from the journal"};
}

void compare_series(const std::string& path, const JournalCapture& journal) {
  const auto file = hdf5::open_file(path);
  std::vector<Cursor<SignalColumns, SampleRows>> cursors;
  for (const auto& group : open_signals(file, journal.signals())) {
    auto columns = SignalColumns::open(group);
    const auto rows = columns.t.rows();
    cursors.push_back({std::move(columns), rows});
  }
  auto tick_columns = TickColumns::open(hdf5::open_group(file, "ticks"));
  const auto tick_count = tick_columns.due.rows();
  Cursor<TickColumns, TickRows> ticks{std::move(tick_columns), tick_count};
  const auto check_sample = [&](const Sample& s) {
    auto& c = cursors[s.signal];
    if (!c.next() || !same(c.rows.at(c.row, s.signal), s))
      throw Hdf5Error{"signal '" + journal.signals()[s.signal].name + "' read back differs from the journal"};
  };
  const auto check_ticks = [&](std::span<const Tick> of_block) {
    for (const auto& t : of_block)
      if (!ticks.next() || !same(ticks.rows.at(ticks.row), t))
        throw Hdf5Error{"the ticks read back differ from the journal"};
  };
  if (auto visited = journal.visit({each_sample(check_sample), check_ticks}); !visited)
    throw Hdf5Error{visited.error().context};
  for (const auto& c : cursors)
    if (!c.finished()) throw Hdf5Error{"the file holds more samples than the journal"};
  if (!ticks.finished()) throw Hdf5Error{"the file holds more ticks than the journal"};
}

}  // namespace

void compare(const std::string& path, const JournalCapture& journal) {
  compare_series(path, journal);
  const auto read = Hdf5Capture::open(path);
  if (!read) throw Hdf5Error{read.error().context};
  compare_lists((*read)->events(), journal.events(), "events");
  compare_lists((*read)->spans(), journal.spans(), "spans");
  compare_lists((*read)->left_out(), journal.left_out(), "stretches left out");
  compare_lists((*read)->gaps(), journal.gaps(), "gaps");
  compare_lists((*read)->notes(), journal.notes(), "notes");
}

}  // namespace trackrod::archive
