#include "drivers/device/link_fields.hpp"

#include <algorithm>
#include <array>

namespace trackrod {
namespace {

constexpr Duration refresh = std::chrono::milliseconds{100};

struct View {
  const LinkCounters& link;
  const ProtocolCounters& protocol;
  std::optional<Duration> age, cycle;
};

struct Figure {
  const char* name;
  bool is_count;
  std::optional<double> (*of)(const View&);
};

std::optional<double> milliseconds(const std::optional<Duration>& d) {
  return d ? std::optional{seconds(*d) * 1e3} : std::nullopt;
}
std::optional<double> count(std::uint64_t n) { return static_cast<double>(n); }

constexpr std::array<Figure, 15> figures{{
    {"link.frames", true, [](const View& v) { return count(v.protocol.good); }},
    {"link.bytes", true, [](const View& v) { return count(v.link.received_bytes); }},
    {"link.errors", true,
     [](const View& v) {
       return count(v.protocol.bad_checksum + v.protocol.bad_length + v.protocol.timed_out + v.protocol.refused +
                    v.link.oversized + v.link.refused + v.link.send_failures);
     }},
    {"link.drops", true, [](const View& v) { return count(v.link.dropped_by_kernel); }},
    {"link.foreign", true, [](const View& v) { return count(v.link.foreign); }},
    {"link.lost", true, [](const View& v) { return count(v.protocol.lost); }},
    {"link.repeated", true, [](const View& v) { return count(v.protocol.repeated); }},
    {"link.reordered", true, [](const View& v) { return count(v.protocol.reordered); }},
    {"link.bad_checksum", true, [](const View& v) { return count(v.protocol.bad_checksum); }},
    {"link.wrong_sequence", true, [](const View& v) { return count(v.protocol.wrong_sequence); }},
    {"link.became_invalid", true, [](const View& v) { return count(v.protocol.became_invalid); }},
    {"link.bus_errors", true, [](const View& v) { return count(v.link.bus_errors); }},
    {"link.echo", false,
     [](const View& v) {
       if (v.link.echoes == 0) return std::optional<double>{};
       return milliseconds(Duration{static_cast<Duration::rep>(v.link.last_echo_ns)});
     }},
    {"link.cycle_time", false, [](const View& v) { return milliseconds(v.cycle); }},
    {"link.age", false, [](const View& v) { return milliseconds(v.age); }},
}};
constexpr std::size_t age = figures.size() - 1;

}  // namespace

const std::vector<FieldInfo>& link_fields() {
  static const auto fields = [] {
    std::vector<FieldInfo> all;
    for (const auto& f : figures) all.push_back({f.name, true, false, f.is_count ? 1.0 : 0.0, 0.0, 0.0, 0.0});
    return all;
  }();
  return fields;
}

bool is_link_field(const std::string& field) {
  return std::any_of(figures.begin(), figures.end(), [&](const Figure& f) { return field == f.name; });
}

LinkFigures::LinkFigures(const Bench& bench, std::size_t index) {
  for (std::size_t s = 0; s < bench.signals.size(); ++s) {
    const auto& signal = bench.signals[s];
    if (signal.device != index) continue;
    for (std::size_t f = 0; f < figures.size(); ++f)
      if (signal.field == figures[f].name)
        shown_.push_back({static_cast<SignalIndex>(s), f, signal.gain, signal.offset});
  }
}

void LinkFigures::look(BenchTime now, BenchTime last_heard, const LinkCounters& link, const ProtocolCounters& protocol,
                       SampleSink& samples) noexcept {
  if (shown_.empty()) return;
  measure_cycle(now, last_heard, protocol.good);
  const bool heard = last_heard != BenchTime{};
  // A message may be stamped a little after the time at which the tick began.
  const View view{link, protocol, heard ? std::optional{std::max(Duration{}, now - last_heard)} : std::nullopt, cycle_};
  for (auto& s : shown_) {
    const auto value = figures[s.figure].of(view);
    if (!value) continue;
    if (s.figure != age && value == s.last && now - s.put_at < refresh) continue;
    s.last = value;
    s.put_at = now;
    samples.put({now, s.gain * *value + s.offset, 0, s.signal, StampedBy::harness});
  }
}

// The mean over the messages of the last 0.1 s, or since the one before where they come more slowly.
void LinkFigures::measure_cycle(BenchTime now, BenchTime last_heard, std::uint64_t messages) noexcept {
  if (now < cycle_due_ || messages == messages_from_) return;
  if (cycle_from_ != BenchTime{} && last_heard > cycle_from_)
    cycle_ = (last_heard - cycle_from_) / static_cast<Duration::rep>(messages - messages_from_);
  cycle_from_ = last_heard;
  messages_from_ = messages;
  cycle_due_ = now + refresh;
}

}  // namespace trackrod
