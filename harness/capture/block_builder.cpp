#include "harness/capture/block_builder.hpp"

#include <algorithm>
#include <bit>
#include <cmath>

namespace trackrod {
namespace {

std::int64_t ns(BenchTime t) { return t.time_since_epoch().count(); }
std::int64_t bits(double v) { return std::bit_cast<std::int64_t>(v); }

// The median of the steps, or of so many of them, spread evenly: any choice is right, a typical one is short.
std::int64_t typical_step(const std::vector<std::int64_t>& times) {
  constexpr std::size_t most = 5;
  std::int64_t steps[most];
  const auto all = times.size() - 1, asked = std::min(all, most);
  for (std::size_t i = 0; i < asked; ++i) {
    const auto at = i * all / asked;
    steps[i] = minus(times[at + 1], times[at]);
  }
  std::nth_element(steps, steps + asked / 2, steps + asked);
  return steps[asked / 2];
}

void write_times(ByteWriter& out, const std::vector<std::int64_t>& times, std::int64_t from) {
  out.signed_varint(minus(times[0], from));
  if (times.size() < 2) return;
  const auto period = typical_step(times);
  out.signed_varint(period);
  char* at = out.room(longest_varint * times.size());
  for (std::size_t i = 1; i < times.size(); ++i)
    at = put_varint(at, fold(minus(minus(times[i], times[i - 1]), period)));
  out.filled(at);
}

// The count of each value, if each is exactly `resolution x count + resolution_offset`. Written so that the compiler
// can take several values at a time.
bool exact_counts(const std::vector<double>& values, const SignalInfo& signal, std::vector<std::int64_t>& counts) {
  constexpr double shift = 0x1.8p52;  // a number below 2^51, added to it, is rounded and stands in the last bits
  counts.resize(values.size());
  std::int64_t wrong = 0;
  for (std::size_t i = 0; i < values.size(); ++i) {
    const double shifted = (values[i] - signal.resolution_offset) / signal.resolution + shift;
    counts[i] = minus(bits(shifted), bits(shift));
    const auto beyond = static_cast<std::uint64_t>(plus(counts[i], std::int64_t{1} << 51)) >> 52;  // NaN as well
    wrong |= (bits(from_count(signal, shifted - shift)) ^ bits(values[i])) | static_cast<std::int64_t>(beyond);
  }
  return wrong == 0;
}

void write_exact_counts(ByteWriter& out, const std::vector<std::int64_t>& counts) {
  char* at = out.room(longest_varint * counts.size());
  std::int64_t last = 0;
  for (const auto count : counts) {
    at = put_varint(at, fold(count - last));
    last = count;
  }
  out.filled(at);
  out.varint(counts.size());
  out.signed_varint(0);
}

void write_counts(ByteWriter& out, const std::vector<double>& values, const SignalInfo& signal) {
  constexpr double exact = 9007199254740992.0;  // 2^53: whole numbers up to here are doubles
  ByteWriter corrections;
  std::int64_t last = 0, correction = 0;
  std::uint64_t run = 0;
  for (const auto value : values) {
    const double nearest = std::round((value - signal.resolution_offset) / signal.resolution);
    const auto count =
        std::abs(nearest) < exact ? static_cast<std::int64_t>(nearest) : last;  // NaN too: the last count
    out.signed_varint(count - last);
    last = count;
    const auto c = minus(bits(value), bits(from_count(signal, static_cast<double>(count))));
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
  out.text(corrections.view());
}

}  // namespace

void Column::clear() {
  times.clear();
  values.clear();
  sources.clear();
}

// Signals whose samples carry the same stamps go together.
void BlockBuilder::find_groups() {
  groups_.clear();
  for (std::size_t i = 0; i < columns_.size(); ++i) {
    if (columns_[i].times.empty()) continue;
    const auto same = std::find_if(groups_.begin(), groups_.end(),
                                   [&](const auto& g) { return columns_[g.front()].stamped_like(columns_[i]); });
    if (same == groups_.end())
      groups_.push_back({static_cast<SignalIndex>(i)});
    else
      same->push_back(static_cast<SignalIndex>(i));
  }
}

void BlockBuilder::write_group(const std::vector<SignalIndex>& group) {
  group_.clear();
  group_.varint(group.size());
  for (const auto signal : group) group_.varint(signal);
  const auto& first = columns_[group.front()];
  group_.varint(first.times.size());
  write_times(group_, first.times, from_);
  for (std::size_t i = 0; i < first.sources.size(); ++i) {
    const auto& source = first.sources[i];
    const bool last = i + 1 == first.sources.size();
    group_.varint((last ? first.times.size() : first.sources[i + 1].from) - source.from);
    group_.fixed(source.by);
    group_.varint(source.uncertainty_ns);
  }
  for (const auto signal : group)
    write_values(columns_[signal].values, signal < signals_.size() ? &signals_[signal] : nullptr);
  block_.varint(group_.view().size());
  block_.text(group_.view());
}

void BlockBuilder::write_values(const std::vector<double>& values, const SignalInfo* signal) {
  auto coding = ValueCoding::doubles;
  values_.clear();
  if (std::all_of(values.begin(), values.end(), [&](double v) { return bits(v) == bits(values[0]); })) {
    coding = ValueCoding::one_value;
    values_.fixed(values[0]);
  } else if (signal != nullptr && signal->resolution > 0.0) {
    if (exact_counts(values, *signal, counts_))
      write_exact_counts(values_, counts_);
    else
      write_counts(values_, values, *signal);
    if (values_.view().size() < values.size() * sizeof(double)) coding = ValueCoding::counts;
  }
  if (coding == ValueCoding::doubles) {
    values_.clear();
    for (const auto v : values) values_.fixed(v);
  }
  group_.fixed(coding);
  group_.varint(values_.view().size());
  group_.text(values_.view());
}

void BlockBuilder::write_ticks() {
  block_.varint(ticks_.size());
  if (ticks_.empty()) return;
  due_.clear();
  for (const auto& t : ticks_) due_.push_back(ns(t.due));
  write_times(block_, due_, from_);
  block_.varint(ticks_[0].number);
  for (std::size_t i = 1; i < ticks_.size(); ++i)
    block_.signed_varint(std::int64_t{ticks_[i].number} - std::int64_t{ticks_[i - 1].number} - 1);
  for (const auto& t : ticks_) block_.varint(t.late_ns);
  for (const auto& t : ticks_) block_.varint(t.work_ns);
  for (const auto& t : ticks_) block_.varint(t.input_age_ns);
}

std::string BlockBuilder::take() {
  block_.clear();
  block_.fixed(from_);
  block_.fixed(to_);
  find_groups();
  block_.varint(groups_.size());
  for (const auto& group : groups_) write_group(group);
  write_ticks();
  for (auto& c : columns_) c.clear();
  ticks_.clear();
  samples_ = 0;
  from_ = INT64_MAX;
  to_ = INT64_MIN;
  return block_.take();
}

}  // namespace trackrod
