#include "harness/capture/block.hpp"

#include <algorithm>
#include <bit>

#include "harness/capture/bytes.hpp"

namespace trackrod {
namespace {

std::int64_t bits(double v) { return std::bit_cast<std::int64_t>(v); }

std::vector<std::int64_t> read_times(ByteReader& in, std::uint64_t n, std::int64_t from) {
  std::vector<std::int64_t> times;
  if (n > in.left()) return times;  // each takes at least a byte
  times.reserve(n);
  times.push_back(plus(from, in.signed_varint()));
  if (n < 2) return times;
  const auto period = in.signed_varint();
  while (times.size() < n) times.push_back(plus(times.back(), plus(period, in.signed_varint())));
  return times;
}

bool read_sources(ByteReader& in, std::vector<Sample>& samples) {
  for (std::size_t i = 0; i < samples.size();) {
    const auto run = in.varint();
    const auto by = in.fixed<std::uint8_t>();
    const auto uncertainty = in.varint();
    if (!in.good() || run == 0 || run > samples.size() - i || by > 2 || uncertainty > UINT32_MAX) return false;
    for (const auto end = i + run; i < end; ++i) {
      samples[i].by = static_cast<StampedBy>(by);
      samples[i].uncertainty_ns = static_cast<std::uint32_t>(uncertainty);
    }
  }
  return true;
}

bool read_counts(ByteReader& in, std::vector<Sample>& samples, const SignalInfo& signal) {
  std::int64_t count = 0;
  for (auto& s : samples) {
    count = plus(count, in.signed_varint());
    s.value = from_count(signal, static_cast<double>(count));
  }
  for (std::size_t i = 0; i < samples.size();) {
    const auto run = in.varint();
    const auto correction = in.signed_varint();
    if (!in.good() || run == 0 || run > samples.size() - i) return false;
    for (const auto end = i + run; i < end; ++i)
      samples[i].value = std::bit_cast<double>(plus(bits(samples[i].value), correction));
  }
  return in.finished();
}

bool read_values(std::uint8_t coding, Bytes coded, std::vector<Sample>& samples,
                 const std::vector<SignalInfo>& signals) {
  ByteReader in{coded};
  switch (static_cast<ValueCoding>(coding)) {
    case ValueCoding::doubles:
      for (auto& s : samples) s.value = in.fixed<double>();
      return in.finished();
    case ValueCoding::one_value: {
      const auto value = in.fixed<double>();
      for (auto& s : samples) s.value = value;
      return in.finished();
    }
    case ValueCoding::counts: {
      const std::size_t index = samples.front().signal;
      return index < signals.size() && read_counts(in, samples, signals[index]);
    }
  }
  return false;
}

bool visit_group(Bytes bytes, std::int64_t from, const std::vector<SignalInfo>& signals, const BlockVisitor& visitor) {
  ByteReader in{bytes};
  const auto columns = in.varint();
  if (columns == 0 || columns > in.left()) return false;
  std::vector<SignalIndex> indices;
  for (std::uint64_t i = 0; i < columns; ++i) {
    const auto index = in.varint();
    if (index > no_signal) return false;
    indices.push_back(static_cast<SignalIndex>(index));
  }
  const auto wanted = [&](SignalIndex i) { return visitor.only == no_signal || visitor.only == i; };
  if (std::none_of(indices.begin(), indices.end(), wanted)) return in.good();
  const auto n = in.varint();
  const auto times = read_times(in, n, from);
  if (!in.good() || n == 0 || times.size() != n) return false;
  std::vector<Sample> samples(n);
  for (std::size_t i = 0; i < n; ++i) samples[i].when = BenchTime{Duration{times[i]}};
  if (!read_sources(in, samples)) return false;
  for (const auto index : indices) {
    const auto coding = in.fixed<std::uint8_t>();
    const auto coded = in.take(in.varint());
    if (!in.good()) return false;
    if (!wanted(index)) continue;
    for (auto& s : samples) s.signal = index;
    if (!read_values(coding, coded, samples, signals)) return false;
    if (visitor.sample) std::for_each(samples.begin(), samples.end(), visitor.sample);
  }
  return in.finished();
}

bool visit_ticks(ByteReader& in, std::int64_t from, const BlockVisitor& visitor) {
  const auto n = in.varint();
  if (n == 0) return in.good();
  const auto due = read_times(in, n, from);
  if (!in.good() || due.size() != n) return false;
  std::vector<Tick> ticks(n);
  std::int64_t number = 0;
  for (std::size_t i = 0; i < n; ++i) {
    number = i == 0 ? static_cast<std::int64_t>(in.varint()) : plus(number + 1, in.signed_varint());
    if (number < 0 || number > std::int64_t{UINT32_MAX}) return false;
    ticks[i].number = static_cast<std::uint32_t>(number);
    ticks[i].due = BenchTime{Duration{due[i]}};
  }
  for (auto field : {&Tick::late_ns, &Tick::work_ns, &Tick::input_age_ns})
    for (auto& t : ticks) {
      const auto v = in.varint();
      if (v > UINT32_MAX) return false;
      t.*field = static_cast<std::uint32_t>(v);
    }
  if (in.finished() && visitor.tick) std::for_each(ticks.begin(), ticks.end(), visitor.tick);
  return in.finished();
}

}  // namespace

std::optional<BlockRange> visit_block(Bytes payload, const std::vector<SignalInfo>& signals,
                                      const BlockVisitor& visitor) {
  ByteReader in{payload};
  const BlockRange range{BenchTime{Duration{in.fixed<std::int64_t>()}}, BenchTime{Duration{in.fixed<std::int64_t>()}}};
  const auto from = range.from.time_since_epoch().count();
  const auto groups = in.varint();
  for (std::uint64_t i = 0; i < groups; ++i) {
    const auto group = in.take(in.varint());
    if (!in.good()) return std::nullopt;
    if (!visitor.sample) continue;
    if (!visit_group(group, from, signals, visitor)) return std::nullopt;
  }
  if (!in.good() || !visit_ticks(in, from, visitor)) return std::nullopt;
  return range;
}

}  // namespace trackrod
