// What goes beyond single frames: frames that cannot be told apart, names that stand twice, times and memory.

#include <algorithm>
#include <cmath>
#include <map>

#include "drivers/protocol/frames_settings.hpp"

namespace trackrod {
namespace {

// Every frame of one direction must be told from every other by the same bits.
void check_told_apart(const NamedFrames& frames, bool stream, Problems& problems) {
  for (std::size_t i = 0; i < frames.size(); ++i) {
    const auto& [name, frame] = frames[i];
    if (stream && !frame.match && !frame.checksum && !frame.e2e)
      problems.add(name.at, "nothing in frame '" + name.value + "' shows where it begins in a stream",
                   "a 'match', a 'checksum' or 'e2e'");
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
    if (each * static_cast<Duration::rep>(settings.send.size()) >
        std::max(frame.period(), frame.on_change ? frame.on_change->value : Duration{}))
      problems.add(name.at, "frame '" + name.value + "' is sent more often than the idle gaps allow",
                   "a 'cycle' of at least 'spacing' (or 'gap') times the number of frames to send");
}

FieldInfo info_of(const std::string& name, const FieldSettings& field) {
  if (field.is_float) return {name, false, false, 0.0, 0.0, 0.0, 0.0};
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
      if (direction == &FieldInfo::drivable) known->counted = frame.counter || frame.e2e;
    }
}

// What the receiver of protected frames concludes, as fields of its own.
void add_states(const NamedFrames& frames, std::vector<FieldInfo>& all, Problems& problems) {
  for (const auto& [name, frame] : frames) {
    if (!frame.e2e) continue;
    for (const auto* suffix : {e2e_state_field, e2e_status_field}) {
      const auto own = name.value + suffix;
      if (std::any_of(all.begin(), all.end(), [&](const FieldInfo& f) { return f.name == own; }))
        problems.add(name.at, "a field is called '" + own + "'", "another name for it: 'e2e' has a field of that name");
      all.push_back({own, true, false, 1.0, 0.0, 0.0, 255.0});
    }
  }
}

bool has_can(const FramesSettings& settings) {
  const auto any = [](const NamedFrames& frames) {
    return std::any_of(frames.begin(), frames.end(), [](const auto& f) { return f.second.can.has_value(); });
  };
  return any(settings.receive) || any(settings.send);
}

}  // namespace

std::vector<std::uint64_t> FrameSettings::pages() const {
  std::vector<std::uint64_t> all;
  for (const auto& [name, field] : fields) {
    if (!field.when) continue;
    const auto page = static_cast<std::uint64_t>(field.when->value);
    if (std::find(all.begin(), all.end(), page) == all.end()) all.push_back(page);
  }
  if (all.empty()) all.push_back(0);
  return all;
}

std::size_t words_to_take_over(std::size_t length, std::size_t pages) { return 3 + (length + 3) / 4 * pages; }

std::vector<FieldInfo> check_frames(const FramesSettings& settings, Problems& problems) {
  for (const auto* frames : {&settings.receive, &settings.send}) {
    for (const auto& [name, frame] : *frames) check_frame(frame, problems);
    check_told_apart(*frames, settings.stream && !settings.framing, problems);
  }
  if (settings.framing) check_framing(settings, problems);
  if (settings.together.value && (settings.stream || has_can(settings)))
    problems.add(settings.together.at, "'together' where there are no datagrams",
                 "it only on a link that carries datagrams of any length, such as 'udp'");
  for (const auto& [name, frame] : settings.send)
    if (!frame.cycle && !frame.on_change)
      problems.add(name.at, "nothing says when frame '" + name.value + "' is sent", "a 'cycle', 'on_change' or both");
  std::size_t words = 0;
  for (const auto& [name, frame] : settings.send) {
    words += words_to_take_over(static_cast<std::size_t>(frame.length.value), frame.pages().size());
    if (words <= take_over_words) continue;
    problems.add(
        frame.length.at,
        "the frames to send up to '" + name.value + "' need " + std::to_string(words) + " words of take-over memory",
        std::to_string(take_over_words) +
            " words: 3 for each frame and 1 for every 4 bytes of it, for each value of its selector",
        "describe the rest as a second device");
    break;
  }
  std::vector<FieldInfo> all;
  collect(settings.receive, &FieldInfo::readable, all, problems);
  collect(settings.send, &FieldInfo::drivable, all, problems);
  add_states(settings.receive, all, problems);
  return all;
}

}  // namespace trackrod
