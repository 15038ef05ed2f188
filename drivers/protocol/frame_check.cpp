// One frame by itself: bits that overlap or do not exist.

#include <algorithm>
#include <cmath>

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

  // `page`: of the selector, where the bits belong to one alone.
  void take(const std::string& owner, const BitSpan& span, const Where& at, std::optional<std::int64_t> page = {}) {
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
      const auto other =
          std::find_if(now.begin(), now.end(), [&](const Owner& o) { return !page || !o.page || *o.page == *page; });
      if (other != now.end()) {
        problems_.add(at, owner + " takes bit " + std::to_string(n) + ", which belongs to " + other->name,
                      "bits of its own", "look at 'start', 'bits' and 'order' of both");
        return;
      }
      now.push_back({owner, page});
    }
  }

 private:
  struct Owner {
    std::string name;
    std::optional<std::int64_t> page;
  };
  std::vector<std::vector<Owner>> owners_;
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

void check_protection(const FrameSettings& frame, BitMap& map, Problems& problems) {
  const auto& e2e = *frame.e2e;
  check_e2e(e2e, frame.length.value, problems);
  for (const auto& [owner, span] : bits_of(protection_of(e2e))) map.take(owner, span, e2e.profile.at);
  if (frame.counter || frame.checksum)
    problems.add(e2e.profile.at, "'e2e' beside 'counter' or 'checksum'", "one or the other",
                 "'e2e' has a counter and a checksum of its own");
}

void check_field(const std::string& name, const FieldSettings& field, const FrameSettings& frame, BitMap& map,
                 Problems& problems) {
  const auto span = span_of(field, frame);
  const int bits = field.bits.value, first = field.order.value_or(frame.order) == ByteOrder::little ? 0 : 7;
  if (field.is_float && bits != 32 && bits != 64)
    problems.add(field.bits.at, "found " + std::to_string(bits) + " bits", "32 or 64 bits with \"float\": true");
  else if (!field.is_float && bits > 53)
    problems.add(field.bits.at, "found " + std::to_string(bits) + " bits",
                 "1 to 53 bits, so that every count is exact as a number");
  else if (bits == 64 && field.start.value % 8 != first)
    problems.add(field.start.at, "64 bits that do not fill whole bytes",
                 "a 'start' of 8 times a byte" + std::string{first == 7 ? ", plus 7" : ""});
  else
    map.take("'" + name + "'", span, field.start.at, field.when ? std::optional{field.when->value} : std::nullopt);
  if (field.is_float && field.is_signed)
    problems.add(field.bits.at, "'signed' with 'float'", "one of them", "IEEE 754 numbers have a sign of their own");
  if (field.scale.value == 0.0) problems.add(field.scale.at, "found a scale of 0", "any other number");
  if (!field.when) return;
  if (!frame.selector)
    problems.add(field.when->at, "'when' in a frame without a selector", "a 'selector' in the frame");
  else if (const auto mask = span_of(*frame.selector, frame).mask();
           static_cast<std::uint64_t>(field.when->value) > mask)
    problems.add(field.when->at, "found " + std::to_string(field.when->value),
                 "at most " + std::to_string(mask) + ", which is what the selector holds");
}

}  // namespace

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
  if (frame.e2e) check_protection(frame, map, problems);
  if (frame.selector) map.take("'selector'", span_of(*frame.selector, frame), frame.selector->start.at);
  const auto paged =
      std::count_if(frame.fields.begin(), frame.fields.end(), [](const auto& f) { return f.second.when.has_value(); });
  if (frame.selector && paged == 0)
    problems.add(frame.selector->start.at, "a selector that no field asks for", "'when' at the fields that it selects");
  for (const auto& [name, field] : frame.fields) check_field(name.value, field, frame, map, problems);
  if (frame.phase && (!frame.cycle || frame.phase->value >= frame.cycle->value))
    problems.add(frame.phase->at, "a phase that is not within a cycle", "'phase' below 'cycle'");
}

}  // namespace trackrod
