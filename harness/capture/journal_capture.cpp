#include "harness/capture/journal_capture.hpp"

#include <algorithm>

namespace trackrod {
namespace {

// Beyond this many stretches neighbours are joined, so that the index stays as large as it is: 4 MB. Of a night a
// stretch is then less than two seconds, no more than what a step of a plan takes.
constexpr std::size_t most_stretches = 32768;

Result<StreamHeader> find_header(JournalReader& reader) {
  std::string why = "no frame of it can be read";
  while (const auto frame = reader.next()) {
    if (frame->header.kind != FrameKind::header) continue;
    auto header = stream_header_from_json({frame->payload.begin(), frame->payload.end()});
    if (header) return header;
    why = header.error().context;
  }
  if (!reader.losses().empty()) why += " (" + reader.losses().front().sentence() + ")";
  return fail(Fault::storage, "the journal '" + reader.segments().front() +
                                  "' has no stream header that can be read, so its signals are not known: " + why);
}

}  // namespace

Result<std::unique_ptr<JournalCapture>> JournalCapture::open(const std::string& dir) {
  const auto found = JournalReader::open(dir);
  if (!found) return tl::unexpected{found.error()};
  return read(found->segments(), /*whole=*/true);
}

Result<std::unique_ptr<JournalCapture>> JournalCapture::over(const std::vector<std::string>& segments) {
  return read(segments, /*whole=*/false);
}

// `whole`: the first frame of the first segment is the first of the journal.
Result<std::unique_ptr<JournalCapture>> JournalCapture::read(const std::vector<std::string>& segments, bool whole) {
  auto searched = JournalReader::over(segments);
  if (!searched) return tl::unexpected{searched.error()};
  auto header = find_header(*searched);
  if (!header) return tl::unexpected{header.error()};
  auto reader = JournalReader::over(segments);
  if (!reader) return tl::unexpected{reader.error()};
  if (!whole) reader->seek({});
  std::unique_ptr<JournalCapture> capture{new JournalCapture{std::move(*header)}};
  capture->read(*reader);
  return capture;
}

void JournalCapture::read(JournalReader& reader) {
  segments_ = reader.segments();
  BlockReader blocks{header_.signals};
  while (const auto frame = reader.next()) {
    if (reader.losses().size() > losses_.size()) summary_.break_ticks();
    const auto known_to = summary_.end();
    const auto when = take(*frame, reader, blocks);
    if (when) note_losses(reader.losses(), known_to, std::max(*when, known_to));
  }
  note_losses(reader.losses(), summary_.end(), summary_.end());
  timing_ = summary_.timing();
  mark_spans();
  order_stretches();
}

// Frames are left out block by block; a stretch ends where a block stands again.
void JournalCapture::take_left_out(const LeftOut& left_out) {
  summary_.add(left_out);
  if (!goes_on_left_out_) {
    left_out_.push_back(left_out);
    goes_on_left_out_ = true;
    return;
  }
  left_out_.back().absorb(left_out);
}

void JournalCapture::mark_spans() {
  spans_ = summary_.spans();
  for (auto& span : spans_) {
    const auto behind = std::ranges::partition_point(left_out_, [&](const LeftOut& l) { return l.to < span.from; });
    span.kept = behind == left_out_.end() || behind->from >= span.to;
  }
}

// Stretches follow each other in time, but for samples that came late or carry a wrong stamp.
void JournalCapture::order_stretches() {
  auto latest = BenchTime::min(), earliest = BenchTime::max();
  for (auto& s : stretches_) s.latest_so_far = latest = std::max(latest, s.to);
  for (auto s = stretches_.rbegin(); s != stretches_.rend(); ++s)
    s->earliest_from_here = earliest = std::min(earliest, s->from);
}

std::vector<BenchTime> JournalCapture::segment_ends() const {
  std::vector<BenchTime> ends(segments_.size(), BenchTime::min());
  for (const auto& s : stretches_) ends[s.at.segment] = std::max(ends[s.at.segment], s.to);
  return ends;
}

void JournalCapture::note_losses(const std::vector<Loss>& losses, BenchTime from, BenchTime to) {
  for (auto i = losses_.size(); i < losses.size(); ++i) {
    losses_.push_back(losses[i]);
    gaps_.push_back({from, to, 0, losses[i].sentence()});
  }
}

// The earliest time that the frame tells of; empty when it tells of none.
std::optional<BenchTime> JournalCapture::take(const Frame& frame, JournalReader& reader, BlockReader& blocks) {
  const auto payload = frame.payload;
  switch (frame.header.kind) {
    case FrameKind::header:
      return std::nullopt;
    case FrameKind::block:
      if (const auto from = take_block(frame, blocks)) return from;
      break;
    case FrameKind::event:
      if (const auto event = decode_event(payload)) return summary_.add(*event), event->when;
      break;
    case FrameKind::note:
      if (auto note = decode_note(payload)) return notes_.push_back(*note), note->when;
      break;
    case FrameKind::gap:
      if (const auto gap = decode_gap(payload)) {
        gaps_.push_back(*gap);
        summary_.break_ticks();
        return gap->from;
      }
      break;
    case FrameKind::clock_pair:
      if (const auto pair = decode_clock_pair(payload)) return clock_pairs_.push_back(*pair), pair->bench;
      break;
    case FrameKind::end:
      if (const auto end = decode_end(payload)) return ended_ = end, end->when;
      break;
    case FrameKind::left_out:
      if (const auto left_out = decode_left_out(payload)) return take_left_out(left_out->what), left_out->what.from;
      break;
  }
  reader.reject(frame, "frame " + std::to_string(frame.header.sequence) + " (" + frame_kind_name(frame.header.kind) +
                           ") has good checksums but does not decode");
  return std::nullopt;
}

std::optional<BenchTime> JournalCapture::take_block(const Frame& frame, BlockReader& blocks) {
  std::uint64_t samples = 0;
  Stretch block{frame.place, frame.place.offset + frame_header_size + frame.payload.size(), 1, BenchTime::max(),
                BenchTime::min()};
  std::vector<Tick> ticks;
  const auto look = [&](const StampGroup& group) {
    samples += group.signals.size() * group.when.size();
    const auto [first, last] = std::minmax_element(group.when.begin(), group.when.end());
    block.from = std::min(block.from, *first);
    block.to = std::max(block.to, *last);
  };
  const auto range =
      blocks.visit(frame.payload, {nullptr, [&](auto all) { ticks.assign(all.begin(), all.end()); }, no_signal, look});
  // Whoever looks for a time relies on what the block says of itself.
  if (!range || (samples > 0 && (block.from < range->from || block.to > range->to))) return std::nullopt;
  goes_on_left_out_ = false;
  samples_ += samples;
  if (samples > 0) {
    summary_.advance(block.from);
    summary_.advance(block.to);
  }
  for (const auto& t : ticks) summary_.add(t);
  index(block);
  return range->from;
}

// All stretches but the last of a segment hold as many blocks, so that no part of a long run is harder to find than
// another.
void JournalCapture::index(const Stretch& block) {
  const auto join = [&](std::vector<Stretch>& into, const Stretch& next) {
    if (!into.empty() && into.back().at.segment == next.at.segment &&
        into.back().blocks + next.blocks <= blocks_per_stretch_) {
      auto& j = into.back();
      j = {j.at, next.end, j.blocks + next.blocks, std::min(j.from, next.from), std::max(j.to, next.to)};
    } else {
      into.push_back(next);
    }
  };
  join(stretches_, block);
  if (stretches_.size() <= most_stretches) return;
  blocks_per_stretch_ *= 2;
  std::vector<Stretch> joined;
  for (const auto& stretch : stretches_) join(joined, stretch);
  stretches_ = std::move(joined);
}

Result<void> JournalCapture::visit(const Stretch& stretch, JournalReader& reader, const BlockVisitor& visitor) const {
  reader.seek(stretch.at);
  BlockReader block{header_.signals};
  std::uint64_t blocks = 0;
  for (;;) {
    const auto frame = reader.next();
    if (!frame || frame->place.segment != stretch.at.segment || frame->place.offset >= stretch.end) break;
    if (frame->header.kind == FrameKind::block && block.visit(frame->payload, visitor, /*good=*/true)) ++blocks;
    if (reader.position().segment == stretch.at.segment && reader.position().offset >= stretch.end) break;
  }
  if (blocks == stretch.blocks) return {};
  return fail(Fault::storage, "the journal's segment '" + segments_[stretch.at.segment] +
                                  "' is no longer as it was when it was opened: " + std::to_string(blocks) + " of " +
                                  std::to_string(stretch.blocks) + " blocks from byte " +
                                  std::to_string(stretch.at.offset) +
                                  " on can be read; check the disk and open the run anew");
}

Result<void> JournalCapture::visit(const BlockVisitor& visitor) const {
  auto reader = JournalReader::over(segments_);
  if (!reader) return tl::unexpected{reader.error()};
  for (const auto& s : stretches_)
    if (auto visited = visit(s, *reader, visitor); !visited) return visited;
  return {};
}

Result<void> JournalCapture::visit(BenchTime from, BenchTime to, BlockVisitor visitor) const {
  const auto first = std::partition_point(stretches_.begin(), stretches_.end(),
                                          [&](const Stretch& s) { return s.latest_so_far < from; });
  if (first == stretches_.end() || first->earliest_from_here >= to) return {};
  auto reader = JournalReader::over(segments_, first->at.segment);
  if (!reader) return tl::unexpected{reader.error()};
  visitor.within = {from, to};
  for (auto s = first; s != stretches_.end() && s->earliest_from_here < to; ++s) {
    if (s->from >= to || s->to < from) continue;
    if (auto visited = visit(*s, *reader, visitor); !visited) return visited;
  }
  return {};
}

Result<std::vector<Point>> JournalCapture::points(SignalIndex signal, BenchTime from, BenchTime to) const {
  if (signal >= header_.signals.size())
    return fail(Fault::bad_input, "the capture has no signal number " + std::to_string(signal));
  std::vector<Point> points;
  const auto take = each_sample([&](const Sample& s) {
    if (s.when >= from && s.when < to) points.push_back({s.when, s.value, s.uncertainty_ns, s.by});
  });
  if (auto visited = visit(from, to, {take, nullptr, signal}); !visited) return tl::unexpected{visited.error()};
  const auto earlier = [](const Point& a, const Point& b) { return a.when < b.when; };
  if (!std::is_sorted(points.begin(), points.end(), earlier)) std::stable_sort(points.begin(), points.end(), earlier);
  return points;
}

Result<void> JournalCapture::each_stamps(BenchTime from, BenchTime to, const StampsVisitor& take) const {
  std::vector<BenchTime> within;
  return visit(from, to, {nullptr, nullptr, no_signal, [&](const StampGroup& group) {
                            within.clear();
                            std::copy_if(group.when.begin(), group.when.end(), std::back_inserter(within),
                                         [&](BenchTime when) { return when >= from && when < to; });
                            if (!within.empty()) take(group.signals, within);
                          }});
}

}  // namespace trackrod
