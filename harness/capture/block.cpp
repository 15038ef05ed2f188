#include "harness/capture/block.hpp"

#include <algorithm>
#include <bit>

namespace trackrod {
namespace {

std::int64_t bits(double v) { return std::bit_cast<std::int64_t>(v); }

// How values follow their counts: runs until n are covered. Calls take(begin, end, correction) for each.
template <class Take>
bool read_corrections(ByteReader& in, std::size_t n, Take&& take) {
  for (std::size_t i = 0; i < n;) {
    const auto run = in.varint();
    const auto correction = in.signed_varint();
    if (!in.good() || run == 0 || run > n - i) return false;
    take(i, i + run, correction);
    i += run;
  }
  return in.finished();
}

}  // namespace

bool BlockReader::read_times(ByteReader& in, std::uint64_t n, std::int64_t from) {
  if (n == 0 || n > in.left()) return false;  // each takes at least a byte
  times_.resize(n);
  auto time = plus(from, in.signed_varint());
  times_[0] = BenchTime{Duration{time}};
  if (n == 1) return in.good();
  const auto period = in.signed_varint();
  auto* at = times_.data();
  return in.varints(n - 1, [&](std::uint64_t v) {
    time = plus(time, plus(period, unfold(v)));
    *++at = BenchTime{Duration{time}};
  });
}

bool BlockReader::read_runs(ByteReader& in) {
  runs_.clear();
  for (std::size_t i = 0; i < times_.size();) {
    const auto run = in.varint();
    const auto by = in.fixed<std::uint8_t>();
    const auto uncertainty = in.varint();
    if (!in.good() || run == 0 || run > times_.size() - i || by > 2 || uncertainty > UINT32_MAX) return false;
    runs_.push_back({run, static_cast<StampedBy>(by), static_cast<std::uint32_t>(uncertainty)});
    i += run;
  }
  return true;
}

bool BlockReader::read_counts(ByteReader& in, const SignalInfo& signal) {
  std::int64_t count = 0;
  auto* at = values_.data();
  const bool counted = in.varints(values_.size(), [&](std::uint64_t v) {
    count = plus(count, unfold(v));
    *at++ = from_count(signal, static_cast<double>(count));
  });
  return counted && read_corrections(in, values_.size(), [&](std::size_t begin, std::size_t end, std::int64_t by) {
           if (by == 0) return;
           for (auto i = begin; i < end; ++i) values_[i] = std::bit_cast<double>(plus(bits(values_[i]), by));
         });
}

bool BlockReader::read_values(std::uint8_t coding, Bytes coded, SignalIndex index) {
  ByteReader in{coded};
  values_.resize(times_.size());
  switch (static_cast<ValueCoding>(coding)) {
    case ValueCoding::doubles:
      for (auto& v : values_) v = in.fixed<double>();
      return in.finished();
    case ValueCoding::one_value:
      std::fill(values_.begin(), values_.end(), in.fixed<double>());
      return in.finished();
    case ValueCoding::counts:
      return index < signals_.size() && read_counts(in, signals_[index]);
  }
  return false;
}

// Whether read_values() would read them, at less cost.
bool BlockReader::check_values(std::uint8_t coding, Bytes coded, SignalIndex index) const {
  ByteReader in{coded};
  switch (static_cast<ValueCoding>(coding)) {
    case ValueCoding::doubles:
      return coded.size() == times_.size() * sizeof(double);
    case ValueCoding::one_value:
      return coded.size() == sizeof(double);
    case ValueCoding::counts:
      return index < signals_.size() && in.varints(times_.size(), [](std::uint64_t) {}) &&
             read_corrections(in, times_.size(), [](std::size_t, std::size_t, std::int64_t) {});
  }
  return false;
}

bool BlockReader::visit_group(Bytes bytes, std::int64_t from, const BlockVisitor& visitor, bool good) {
  ByteReader in{bytes};
  const auto columns = in.varint();
  if (columns == 0 || columns > in.left()) return false;
  indices_.clear();
  for (std::uint64_t i = 0; i < columns; ++i) {
    const auto index = in.varint();
    if (index > no_signal) return false;
    indices_.push_back(static_cast<SignalIndex>(index));
  }
  const auto wanted = [&](SignalIndex i) { return visitor.only == no_signal || visitor.only == i; };
  if (std::none_of(indices_.begin(), indices_.end(), wanted)) return in.good();
  if (!read_times(in, in.varint(), from) || !read_runs(in)) return false;
  if (good && !visitor.samples) {
    if (visitor.stamps) visitor.stamps({indices_, times_});
    return true;
  }
  for (const auto index : indices_) {
    const auto coding = in.fixed<std::uint8_t>();
    const auto coded = in.take(in.varint());
    if (!in.good()) return false;
    if (!wanted(index)) continue;
    if (!visitor.samples) {
      if (!check_values(coding, coded, index)) return false;
      continue;
    }
    if (!read_values(coding, coded, index)) return false;
    visitor.samples({index, times_, values_, runs_});
  }
  if (visitor.stamps) visitor.stamps({indices_, times_});
  return in.finished();
}

bool BlockReader::visit_ticks(ByteReader& in, std::int64_t from, const BlockVisitor& visitor) {
  const auto n = in.varint();
  if (n == 0) return in.good();
  if (!read_times(in, n, from)) return false;
  ticks_.resize(n);
  std::int64_t number = 0;
  for (std::size_t i = 0; i < n; ++i) {
    number = i == 0 ? static_cast<std::int64_t>(in.varint()) : plus(number + 1, in.signed_varint());
    if (number < 0 || number > std::int64_t{UINT32_MAX}) return false;
    ticks_[i].number = static_cast<std::uint32_t>(number);
    ticks_[i].due = times_[i];
  }
  std::uint64_t all = 0;
  for (auto field : {&Tick::late_ns, &Tick::work_ns, &Tick::input_age_ns}) {
    auto* tick = ticks_.data();
    in.varints(n, [&](std::uint64_t v) {
      all |= v;
      (tick++)->*field = static_cast<std::uint32_t>(v);
    });
  }
  if (!in.finished() || all > UINT32_MAX) return false;
  if (visitor.ticks) visitor.ticks(ticks_);
  return true;
}

std::optional<BlockRange> BlockReader::visit(Bytes payload, const BlockVisitor& visitor, bool good) {
  ByteReader in{payload};
  const BlockRange range{BenchTime{Duration{in.fixed<std::int64_t>()}}, BenchTime{Duration{in.fixed<std::int64_t>()}}};
  const auto& within = visitor.within;
  if (within && in.good() && (range.to < within->from || range.from >= within->to)) return range;
  const auto from = range.from.time_since_epoch().count();
  const auto groups = in.varint();
  for (std::uint64_t i = 0; i < groups; ++i) {
    const auto group = in.take(in.varint());
    if (!in.good()) return std::nullopt;
    if (!visitor.samples && !visitor.stamps) continue;
    if (!visit_group(group, from, visitor, good)) return std::nullopt;
  }
  if (good && !visitor.ticks && in.good()) return range;
  if (!in.good() || !visit_ticks(in, from, visitor)) return std::nullopt;
  return range;
}

}  // namespace trackrod
