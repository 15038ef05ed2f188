// What goes beyond single keys: bits that overlap or do not exist, frames that cannot be told apart.

#include <algorithm>
#include <cmath>
#include <map>

#include "drivers/protocol/checksum.hpp"
#include "drivers/protocol/frames_settings.hpp"

namespace trackrod {

BitSpan span_of(const BitsSettings& bits, const FrameSettings& frame) {
  // 0 bits: the number could not be read, which the reader has told; the rest is still checked.
  return {bits.start.value, std::max(1, bits.bits.value), bits.order.value_or(frame.order)};
}

namespace {

// Checks one frame: who owns which bit.
class BitMap {
 public:
  BitMap(const FrameSettings& frame, Problems& problems)
      : owners_(static_cast<std::size_t>(frame.length.value) * 8), problems_{problems} {}

  void take(const std::string& owner, const BitSpan& span, const Where& at) {
    auto numbers = span.numbers();
    std::sort(numbers.begin(), numbers.end());
    const int bits = static_cast<int>(owners_.size());
    if (numbers.back() >= bits) {
      problems_.add(at, owner + " reaches bit " + std::to_string(numbers.back()),
                    "bits 0 to " + std::to_string(bits - 1) + " in a frame of " + std::to_string(bits / 8) + " bytes",
                    "look at 'start', 'bits', 'order' and the frame's 'length'");
      return;
    }
    for (const int n : numbers) {
      auto& now = owners_[static_cast<std::size_t>(n)];
      if (!now.empty()) {
        problems_.add(at, owner + " takes bit " + std::to_string(n) + ", which belongs to " + now, "bits of its own",
                      "look at 'start', 'bits' and 'order' of both");
        return;
      }
      now = owner;
    }
  }

 private:
  std::vector<std::string> owners_;
  Problems& problems_;
};

void check_checksum(const FrameSettings& frame, BitMap& map, Problems& problems) {
  const auto& sum = *frame.checksum;
  const auto* kind = find_checksum(sum.kind.value);
  if (kind == nullptr) {
    std::vector<std::string> names;
    for (const auto& c : checksum_catalogue()) names.push_back(c.name);
    problems.add(sum.kind.at, "unknown checksum '" + sum.kind.value + "'", one_of(names),
                 did_you_mean(sum.kind.value, names));
    return;
  }
  const int at = sum.at.value, end = at + kind->bytes(), from = sum.from.value, to = sum.to.value_or(at);
  map.take("the checksum", {at * 8, kind->bytes() * 8, ByteOrder::little}, sum.at.at);
  const auto covered = "it covers bytes " + std::to_string(from) + " to " + std::to_string(to - 1);
  // `from` has no place of its own when the file leaves it out.
  const auto& place = sum.from.at.line > 0 ? sum.from.at : sum.at.at;
  if (from >= to) {
    problems.add(place,
                 "the checksum covers no byte ('from' " + std::to_string(from) + ", 'to' " + std::to_string(to) + ")",
                 "'from' below 'to'", "'to' is 'at' when it is left out: give both");
  } else if (to > frame.length.value) {
    problems.add(place, covered, "bytes 0 to " + std::to_string(frame.length.value - 1));
  } else if (from < end && at < to) {
    problems.add(place, covered + " and with them itself",
                 "'to' at most " + std::to_string(at) + ", or 'from' at least " + std::to_string(end));
  }
}

// The time of receipt tells which turn of the counter it is, so a turn must be longer than any message is late.
void check_stamp(const FrameSettings& frame, BitMap& map, Problems& problems) {
  const auto& stamp = *frame.stamp;
  map.take("'stamp'", span_of(stamp, frame), stamp.start.at);
  constexpr double least_turn = 0.05;
  const double turn = std::ldexp(stamp.tick, std::max(1, stamp.bits.value));
  if (turn < least_turn)
    problems.add(stamp.bits.at, "a clock that begins anew every " + std::to_string(turn) + " s",
                 "at least " + std::to_string(least_turn) + " s, which is longer than messages are late",
                 "more 'bits', or a longer 'tick'");
}

void check_frame(const FrameSettings& frame, Problems& problems) {
  BitMap map{frame, problems};
  if (frame.can) check_can_place(*frame.can, frame.length, problems);
  if (frame.match) {
    const auto span = span_of(*frame.match, frame);
    map.take("'match'", span, frame.match->start.at);
    if (static_cast<std::uint64_t>(frame.match->value.value) > span.mask())
      problems.add(frame.match->value.at, "found " + std::to_string(frame.match->value.value),
                   "at most " + std::to_string(span.mask()) + " in " + std::to_string(span.bits()) + " bits");
  }
  if (frame.counter && frame.counter->bits.value > 32)
    problems.add(frame.counter->bits.at, "found " + std::to_string(frame.counter->bits.value),
                 "1 to 32 bits for a counter");
  if (frame.counter) map.take("'counter'", span_of(*frame.counter, frame), frame.counter->start.at);
  if (frame.stamp) check_stamp(frame, map, problems);
  if (frame.checksum) check_checksum(frame, map, problems);
  for (const auto& [name, field] : frame.fields) {
    map.take("'" + name.value + "'", span_of(field, frame), field.start.at);
    if (field.scale.value == 0.0) problems.add(field.scale.at, "found a scale of 0", "any other number");
  }
}

// Every frame of one direction must be told from every other by the same bits.
void check_told_apart(const NamedFrames& frames, bool stream, Problems& problems) {
  for (std::size_t i = 0; i < frames.size(); ++i) {
    const auto& [name, frame] = frames[i];
    if (stream && !frame.match && !frame.checksum)
      problems.add(name.at, "nothing in frame '" + name.value + "' shows where it begins in a stream",
                   "a 'match' or a 'checksum'");
    for (std::size_t j = 0; j < i; ++j) {
      const auto& [other_name, other] = frames[j];
      if (frame.can && other.can && !frame.can->same_identifier(*other.can)) continue;
      if (frame.match && other.match &&
          span_of(*frame.match, frame).numbers() == span_of(*other.match, other).numbers() &&
          frame.match->value.value != other.match->value.value)
        continue;
      problems.add(name.at, "frame '" + name.value + "' cannot be told from '" + other_name.value + "'",
                   frame.can ? "another identifier, or a 'match' on the same bits with another 'value' in each frame"
                             : "a 'match' on the same bits with another 'value' in each frame");
      break;
    }
  }
}

// Messages that must keep apart leave room for no more of them than fit into a cycle.
void check_framing(const FramesSettings& settings, Problems& problems) {
  const auto& framing = *settings.framing;
  if (!settings.stream)
    problems.add(framing.at, "'framing' without a stream", "\"stream\": true beside it",
                 "each datagram holds whole frames; leave 'framing' out there");
  const auto* idle = std::get_if<IdleGapFraming>(&framing.value);
  if (idle == nullptr) return;
  const auto each = std::max(idle->spacing, idle->gap);
  for (const auto& [name, frame] : settings.send)
    if (each * static_cast<Duration::rep>(settings.send.size()) > frame.cycle)
      problems.add(name.at, "frame '" + name.value + "' is sent more often than the idle gaps allow",
                   "a 'cycle' of at least 'spacing' (or 'gap') times the number of frames to send");
}

FieldInfo info_of(const std::string& name, const FieldSettings& field) {
  const int bits = std::max(1, field.bits.value);
  const double low = field.is_signed ? -std::ldexp(1.0, bits - 1) : 0.0;
  const double high = std::ldexp(1.0, field.is_signed ? bits - 1 : bits) - 1.0;
  const double a = field.scale.value * low + field.offset, b = field.scale.value * high + field.offset;
  return {name, false, false, std::abs(field.scale.value), field.offset, std::min(a, b), std::max(a, b)};
}

// A name may stand once in each direction: a value that is driven and comes back. Its steps are then those that are
// read, its bounds those that can be driven.
void collect(const NamedFrames& frames, bool FieldInfo::*direction, std::vector<FieldInfo>& all, Problems& problems) {
  std::map<std::string, Where> first;
  for (const auto& [frame_name, frame] : frames)
    for (const auto& [name, field] : frame.fields) {
      const auto [seen, is_new] = first.emplace(name.value, name.at);
      if (!is_new) {
        problems.add(
            name.at,
            "field '" + name.value + "' stands in this direction already, in line " + std::to_string(seen->second.line),
            "each name once among the frames of one direction");
        continue;
      }
      const auto info = info_of(name.value, field);
      auto known = std::find_if(all.begin(), all.end(), [&](const FieldInfo& f) { return f.name == info.name; });
      if (known == all.end()) {
        known = all.insert(all.end(), info);
      } else {
        known->low = info.low;
        known->high = info.high;
      }
      (*known).*direction = true;
    }
}

}  // namespace

std::size_t words_to_take_over(int length) { return 3 + (static_cast<std::size_t>(length) + 3) / 4; }

std::vector<FieldInfo> check_frames(const FramesSettings& settings, Problems& problems) {
  for (const auto* frames : {&settings.receive, &settings.send}) {
    for (const auto& [name, frame] : *frames) check_frame(frame, problems);
    check_told_apart(*frames, settings.stream && !settings.framing, problems);
  }
  if (settings.framing) check_framing(settings, problems);
  std::size_t words = 0;
  for (const auto& [name, frame] : settings.send) {
    words += words_to_take_over(frame.length.value);
    if (words <= take_over_words) continue;
    problems.add(
        frame.length.at,
        "the frames to send up to '" + name.value + "' need " + std::to_string(words) + " words of take-over memory",
        std::to_string(take_over_words) + " words: 3 for each frame and 1 for every 4 bytes of it",
        "describe the rest as a second device");
    break;
  }
  std::vector<FieldInfo> all;
  collect(settings.receive, &FieldInfo::readable, all, problems);
  collect(settings.send, &FieldInfo::drivable, all, problems);
  return all;
}

}  // namespace trackrod
