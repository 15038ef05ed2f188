// Reads the archive back as a capture.
#include <algorithm>

#include "harness/capture/archive.hpp"
#include "harness/capture/archive_layout.hpp"

namespace trackrod {
namespace {

using namespace archive;
using hdf5::Column;
using hdf5::Handle;
using hdf5::Hdf5Error;

BenchTime time(std::int64_t ns) { return BenchTime{Duration{ns}}; }

struct Rows {
  hsize_t first{0}, count{0};
  BenchTime from{}, to{};
};

// A signal's columns and which times stand in which rows.
struct Series {
  SignalColumns columns;
  std::vector<Rows> index;
};

Series open_series(const Handle& group) {
  Series s{SignalColumns::open(group), {}};
  const auto total = s.columns.t.rows();
  if (s.columns.value.rows() != total || s.columns.by.rows() != total || s.columns.uncertainty.rows() != total)
    throw Hdf5Error{"signal '" + hdf5::read_text_attribute(group, "name") + "' has columns of different lengths"};
  for (hsize_t first = 0; first < total; first += Column::chunk_rows) {
    const auto count = std::min(Column::chunk_rows, total - first);
    Rows rows{first, count, BenchTime::min(), BenchTime::max()};
    try {
      const auto t = s.columns.t.read<std::int64_t>(first, count);
      const auto [least, greatest] = std::minmax_element(t.begin(), t.end());
      rows.from = time(*least);
      rows.to = time(*greatest);
    } catch (const Hdf5Error&) {
      // Damaged: may hold any time, so that whoever asks for samples of this signal, and only he, is told.
    }
    s.index.push_back(rows);
  }
  return s;
}

// A column of `group` that must have as many rows as the others of it.
template <class T>
std::vector<T> read_column(const Handle& group, const std::string& name, std::size_t rows) {
  auto values = Column::open(group, name).read_all<T>();
  if (values.size() != rows)
    throw Hdf5Error{"column '" + name + "' has " + std::to_string(values.size()) + " rows in place of " +
                    std::to_string(rows)};
  return values;
}
std::vector<std::string> read_texts(const Handle& group, const std::string& name, std::size_t rows) {
  auto texts = Column::open(group, name).read_texts();
  if (texts.size() != rows)
    throw Hdf5Error{"column '" + name + "' has " + std::to_string(texts.size()) + " rows in place of " +
                    std::to_string(rows)};
  return texts;
}

std::vector<Event> read_events(const Handle& file) {
  const auto group = hdf5::open_group(file, "events");
  const auto when = Column::open(group, "when_ns").read_all<std::int64_t>();
  const auto n = when.size();
  const auto kind = read_column<std::uint16_t>(group, "kind", n);
  const auto value = read_column<double>(group, "value", n);
  const auto a = read_column<std::uint32_t>(group, "a", n), b = read_column<std::uint32_t>(group, "b", n);
  std::vector<Event> events;
  for (std::size_t i = 0; i < n; ++i)
    events.push_back({time(when[i]), value[i], a[i], b[i], static_cast<EventKind>(kind[i])});
  return events;
}

std::vector<Span> read_spans(const Handle& file) {
  const auto group = hdf5::open_group(file, "spans");
  const auto from = Column::open(group, "from_ns").read_all<std::int64_t>();
  const auto n = from.size();
  const auto to = read_column<std::int64_t>(group, "to_ns", n);
  const auto cycle = read_column<std::uint32_t>(group, "cycle", n);
  const auto complete = read_column<std::uint8_t>(group, "complete", n);
  const auto kept = read_column<std::uint8_t>(group, "kept", n);
  const auto step = read_texts(group, "step", n);
  std::vector<Span> spans;
  for (std::size_t i = 0; i < n; ++i)
    spans.push_back({step[i], cycle[i], time(from[i]), time(to[i]), complete[i] == 1, kept[i] == 1});
  return spans;
}

std::vector<LeftOut> read_left_out(const Handle& file) {
  const auto group = hdf5::open_group(file, "left_out");
  const auto from = Column::open(group, "from_ns").read_all<std::int64_t>();
  const auto n = from.size();
  const auto to = read_column<std::int64_t>(group, "to_ns", n);
  const auto samples = read_column<std::uint64_t>(group, "samples", n),
             ticks = read_column<std::uint64_t>(group, "ticks", n),
             missed = read_column<std::uint64_t>(group, "missed", n);
  const auto first = read_column<std::uint32_t>(group, "first_tick", n),
             last = read_column<std::uint32_t>(group, "last_tick", n);
  const auto late = read_column<std::int64_t>(group, "late_max_ns", n),
             work = read_column<std::int64_t>(group, "work_max_ns", n),
             age = read_column<std::int64_t>(group, "input_age_max_ns", n);
  std::vector<LeftOut> all;
  for (std::size_t i = 0; i < n; ++i)
    all.push_back({time(from[i]), time(to[i]), samples[i], ticks[i], missed[i], first[i], last[i], Duration{late[i]},
                   Duration{work[i]}, Duration{age[i]}});
  return all;
}

std::vector<Gap> read_gaps(const Handle& file) {
  const auto group = hdf5::open_group(file, "gaps");
  const auto from = Column::open(group, "from_ns").read_all<std::int64_t>();
  const auto to = read_column<std::int64_t>(group, "to_ns", from.size());
  const auto count = read_column<std::uint64_t>(group, "count", from.size());
  const auto why = read_texts(group, "why", from.size());
  std::vector<Gap> gaps;
  for (std::size_t i = 0; i < from.size(); ++i) gaps.push_back({time(from[i]), time(to[i]), count[i], why[i]});
  return gaps;
}

std::vector<Note> read_notes(const Handle& file) {
  const auto group = hdf5::open_group(file, "notes");
  const auto when = Column::open(group, "when_ns").read_all<std::int64_t>();
  const auto device = read_column<std::uint32_t>(group, "device", when.size());
  const auto text = read_texts(group, "text", when.size());
  std::vector<Note> notes;
  for (std::size_t i = 0; i < when.size(); ++i) notes.push_back({time(when[i]), device[i], text[i]});
  return notes;
}

TimingQuality read_timing(const Handle& file, const StreamHeader& header, const std::vector<LeftOut>& left_out) {
  const auto group = hdf5::open_group(file, "ticks");
  const auto columns = TickColumns::open(group);
  Summary summary{header};
  TickRows rows;
  for (hsize_t first = 0; first < columns.due.rows(); first += Column::chunk_rows) {
    rows.read_from(columns, first, std::min(Column::chunk_rows, columns.due.rows() - first));
    for (std::size_t i = 0; i < rows.size(); ++i) summary.add(rows.at(i));
  }
  for (const auto& l : left_out) summary.add(l);
  auto timing = summary.timing();
  // Which steps of the numbers are missed ticks and which are lost records was known to the journal only.
  timing.missed = static_cast<std::uint64_t>(hdf5::read_number_attribute(group, "missed"));
  return timing;
}

}  // namespace

struct Hdf5Capture::Contents {
  std::string path;
  StreamHeader header;
  Handle file;
  std::vector<Series> series;  // by signal
  std::vector<Span> spans;
  std::vector<LeftOut> left_out;
  std::vector<Event> events;
  std::vector<Gap> gaps;
  std::vector<Note> notes;
  TimingQuality timing;
  BenchTime begin{}, end{};

  void read();
};

void Hdf5Capture::Contents::read() {
  file = hdf5::open_file(path);
  if (hdf5::read_text_attribute(file, "format") != format) throw Hdf5Error{"it is no archive of a run"};
  if (const auto found = hdf5::read_number_attribute(file, "format_version"); found != version)
    throw Hdf5Error{"it has version " + std::to_string(found) + " of the format; this program reads version " +
                    std::to_string(version)};
  auto stream_header = stream_header_from_json(hdf5::read_text(file, "stream_header"));
  if (!stream_header) throw Hdf5Error{stream_header.error().context};
  header = std::move(*stream_header);
  begin = time(hdf5::read_number_attribute(file, "begin_ns"));
  end = time(hdf5::read_number_attribute(file, "end_ns"));

  for (const auto& group : open_signals(file, header.signals)) series.push_back(open_series(group));
  spans = read_spans(file);
  events = read_events(file);
  gaps = read_gaps(file);
  notes = read_notes(file);
  left_out = read_left_out(file);
  timing = read_timing(file, header, left_out);
}

Hdf5Capture::Hdf5Capture(std::unique_ptr<Contents> contents) : contents_{std::move(contents)} {}
Hdf5Capture::~Hdf5Capture() = default;

Result<std::unique_ptr<Hdf5Capture>> Hdf5Capture::open(const std::string& path) {
  const hdf5::Quiet quiet;
  auto contents = std::make_unique<Contents>();
  contents->path = path;
  try {
    contents->read();
  } catch (const Hdf5Error& e) {
    return fail(Fault::storage, "the archive '" + path + "' could not be read: " + e.what());
  }
  return std::unique_ptr<Hdf5Capture>{new Hdf5Capture{std::move(contents)}};
}

const StreamHeader& Hdf5Capture::header() const { return contents_->header; }
const std::vector<SignalInfo>& Hdf5Capture::signals() const { return contents_->header.signals; }
const std::vector<Span>& Hdf5Capture::spans() const { return contents_->spans; }
const std::vector<Event>& Hdf5Capture::events() const { return contents_->events; }
const std::vector<Gap>& Hdf5Capture::gaps() const { return contents_->gaps; }
const std::vector<Note>& Hdf5Capture::notes() const { return contents_->notes; }
const TimingQuality& Hdf5Capture::timing() const { return contents_->timing; }
const std::vector<LeftOut>& Hdf5Capture::left_out() const { return contents_->left_out; }
BenchTime Hdf5Capture::begin() const { return contents_->begin; }
BenchTime Hdf5Capture::end() const { return contents_->end; }

Result<std::vector<Point>> Hdf5Capture::points(SignalIndex signal, BenchTime from, BenchTime to) const {
  if (signal >= contents_->series.size())
    return fail(Fault::bad_input, "the capture has no signal number " + std::to_string(signal));
  const hdf5::Quiet quiet;
  const auto& series = contents_->series[signal];
  std::vector<Point> points;
  SampleRows rows;
  try {
    for (const auto& part : series.index) {
      if (part.from >= to || part.to < from) continue;
      rows.read_from(series.columns, part.first, part.count);
      for (std::size_t i = 0; i < rows.size(); ++i) {
        const auto s = rows.at(i, signal);
        if (s.when >= from && s.when < to) points.push_back({s.when, s.value, s.uncertainty_ns, s.by});
      }
    }
  } catch (const Hdf5Error& e) {
    return fail(Fault::storage, "the archive '" + contents_->path + "': signal '" +
                                    contents_->header.signals[signal].name + "' is damaged: " + e.what() +
                                    "; make the archive again from the journal");
  }
  std::stable_sort(points.begin(), points.end(), [](const Point& a, const Point& b) { return a.when < b.when; });
  return points;
}

}  // namespace trackrod
