#include "harness/capture/block.hpp"

#include <algorithm>
#include <bit>
#include <cmath>

#include "harness/capture/bytes.hpp"

namespace trackrod {
namespace {

enum class Coding : std::uint8_t { doubles, one_value, counts };

std::int64_t ns(BenchTime t) { return t.time_since_epoch().count(); }
std::int64_t bits(double v) { return std::bit_cast<std::int64_t>(v); }

double from_count(const SignalInfo& s, std::int64_t count) {
  const double product = s.resolution * static_cast<double>(count);  // rounded by itself: no fused multiply-add
  return product + s.resolution_offset;
}

// ---- writing -----------------------------------------------------------------------------------

void write_times(ByteWriter& out, const std::vector<std::int64_t>& times, std::int64_t from) {
  out.signed_varint(minus(times[0], from));
  if (times.size() < 2) return;
  std::vector<std::int64_t> steps(times.size() - 1);
  for (std::size_t i = 0; i < steps.size(); ++i) steps[i] = minus(times[i + 1], times[i]);
  auto sorted = steps;
  const auto middle = sorted.begin() + static_cast<std::ptrdiff_t>(sorted.size() / 2);
  std::nth_element(sorted.begin(), middle, sorted.end());
  const auto period = *middle;
  out.signed_varint(period);
  for (const auto step : steps) out.signed_varint(minus(step, period));
}

void write_sources(ByteWriter& out, const std::vector<Sample>& column) {
  for (std::size_t i = 0; i < column.size();) {
    auto end = i;
    while (end < column.size() && column[end].by == column[i].by &&
           column[end].uncertainty_ns == column[i].uncertainty_ns)
      ++end;
    out.varint(end - i);
    out.fixed(column[i].by);
    out.varint(column[i].uncertainty_ns);
    i = end;
  }
}

std::string counts_of(const std::vector<Sample>& column, const SignalInfo& signal) {
  constexpr double exact = 9007199254740992.0;  // 2^53: whole numbers up to here are doubles
  ByteWriter out, corrections;
  std::int64_t last = 0, correction = 0;
  std::uint64_t run = 0;
  for (const auto& s : column) {
    const double nearest = std::round((s.value - signal.resolution_offset) / signal.resolution);
    const auto count =
        std::abs(nearest) < exact ? static_cast<std::int64_t>(nearest) : last;  // NaN too: the last count
    out.signed_varint(count - last);
    last = count;
    const auto c = minus(bits(s.value), bits(from_count(signal, count)));
    if (run > 0 && c != correction) {
      corrections.varint(run);
      corrections.signed_varint(correction);
      run = 0;
    }
    correction = c;
    ++run;
  }
  corrections.varint(run);
  corrections.signed_varint(correction);
  return out.take() + corrections.take();
}

void write_values(ByteWriter& out, const std::vector<Sample>& column, const SignalInfo* signal) {
  const auto first = bits(column[0].value);
  auto coding = Coding::doubles;
  std::string coded;
  if (std::all_of(column.begin(), column.end(), [&](const Sample& s) { return bits(s.value) == first; })) {
    coding = Coding::one_value;
  } else if (signal != nullptr && signal->resolution > 0.0) {
    coded = counts_of(column, *signal);
    if (coded.size() < column.size() * sizeof(double)) coding = Coding::counts;
  }
  if (coding != Coding::counts) {
    ByteWriter plain;
    for (const auto& s : column) {
      plain.fixed(s.value);
      if (coding == Coding::one_value) break;
    }
    coded = plain.take();
  }
  out.fixed(coding);
  out.varint(coded.size());
  out.text(coded);
}

bool same_stamps(const std::vector<Sample>& a, const std::vector<Sample>& b) {
  return std::equal(a.begin(), a.end(), b.begin(), b.end(), [](const Sample& x, const Sample& y) {
    return x.when == y.when && x.by == y.by && x.uncertainty_ns == y.uncertainty_ns;
  });
}

std::string group_of(const std::vector<const std::vector<Sample>*>& columns, std::int64_t from,
                     const std::vector<SignalInfo>& signals) {
  ByteWriter out;
  out.varint(columns.size());
  for (const auto* c : columns) out.varint(c->front().signal);
  const auto& first = *columns.front();
  out.varint(first.size());
  std::vector<std::int64_t> times;
  for (const auto& s : first) times.push_back(ns(s.when));
  write_times(out, times, from);
  write_sources(out, first);
  for (const auto* c : columns) {
    const std::size_t index = c->front().signal;
    write_values(out, *c, index < signals.size() ? &signals[index] : nullptr);
  }
  return out.take();
}

void write_ticks(ByteWriter& out, const std::vector<Tick>& ticks, std::int64_t from) {
  out.varint(ticks.size());
  if (ticks.empty()) return;
  std::vector<std::int64_t> due;
  for (const auto& t : ticks) due.push_back(ns(t.due));
  write_times(out, due, from);
  out.varint(ticks[0].number);
  for (std::size_t i = 1; i < ticks.size(); ++i)
    out.signed_varint(std::int64_t{ticks[i].number} - std::int64_t{ticks[i - 1].number} - 1);
  for (const auto& t : ticks) out.varint(t.late_ns);
  for (const auto& t : ticks) out.varint(t.work_ns);
  for (const auto& t : ticks) out.varint(t.input_age_ns);
}

// ---- reading -----------------------------------------------------------------------------------

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
    s.value = from_count(signal, count);
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
  switch (static_cast<Coding>(coding)) {
    case Coding::doubles:
      for (auto& s : samples) s.value = in.fixed<double>();
      return in.finished();
    case Coding::one_value: {
      const auto value = in.fixed<double>();
      for (auto& s : samples) s.value = value;
      return in.finished();
    }
    case Coding::counts: {
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

void BlockBuilder::widen(BenchTime when) {
  from_ = std::min(from_, when);
  to_ = std::max(to_, when);
}

void BlockBuilder::add(const Sample& sample) {
  if (sample.signal >= columns_.size()) columns_.resize(sample.signal + std::size_t{1});
  columns_[sample.signal].push_back(sample);
  ++samples_;
  widen(sample.when);
}

void BlockBuilder::add(const Tick& tick) {
  ticks_.push_back(tick);
  widen(tick.due);
}

std::string BlockBuilder::take() {
  std::vector<std::vector<const std::vector<Sample>*>> groups;
  for (const auto& c : columns_) {
    if (c.empty()) continue;
    const auto same =
        std::find_if(groups.begin(), groups.end(), [&](const auto& g) { return same_stamps(*g.front(), c); });
    if (same != groups.end()) {
      same->push_back(&c);
    } else {
      groups.push_back({&c});
    }
  }
  ByteWriter out;
  out.fixed(ns(from_));
  out.fixed(ns(to_));
  out.varint(groups.size());
  for (const auto& g : groups) {
    const auto bytes = group_of(g, ns(from_), signals_);
    out.varint(bytes.size());
    out.text(bytes);
  }
  write_ticks(out, ticks_, ns(from_));
  for (auto& c : columns_) c.clear();
  ticks_.clear();
  samples_ = 0;
  from_ = BenchTime::max();
  to_ = BenchTime::min();
  return out.take();
}

std::optional<BlockRange> visit_block(Bytes payload, const std::vector<SignalInfo>& signals,
                                      const BlockVisitor& visitor) {
  ByteReader in{payload};
  const BlockRange range{BenchTime{Duration{in.fixed<std::int64_t>()}}, BenchTime{Duration{in.fixed<std::int64_t>()}}};
  const auto from = ns(range.from);
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
