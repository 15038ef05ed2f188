#include "harness/recording/importing.hpp"

#include <cmath>
#include <map>

#include "harness/base/units.hpp"

namespace trackrod {
namespace {

// A gap is this many usual intervals, unless the description says how long.
constexpr int gap_intervals = 10;

// Intervals in narrow bins by their logarithm, whose median is known to a percent or better however many there are.
class Intervals {
 public:
  void add(Duration d) {
    if (d <= Duration{}) return;
    auto& bin = bins_[static_cast<int>(64.0 * std::log2(static_cast<double>(d.count())))];
    ++bin.count;
    bin.sum += static_cast<double>(d.count());
    ++total_;
  }
  Duration median() const {
    std::uint64_t below = 0;
    for (const auto& [number, bin] : bins_)
      if (2 * (below += bin.count) >= total_) return Duration{std::llround(bin.sum / static_cast<double>(bin.count))};
    return {};
  }

 private:
  struct Bin {
    std::uint64_t count{0};
    double sum{0.0};
  };
  std::map<int, Bin> bins_;
  std::uint64_t total_{0};
};

class Surveyor final : public RecordingSink {
 public:
  explicit Surveyor(std::size_t signals) : signals_(signals) {}
  Result<void> at(BenchTime) override { return {}; }
  void sample(SignalIndex signal, BenchTime when, double) override {
    auto& s = signals_[signal];
    if (s.count++ > 0) s.intervals.add(when - s.last);
    s.last = when;
    begin = any_ ? std::min(begin, when) : when;
    end = any_ ? std::max(end, when) : when;
    any_ = true;
  }
  struct Signal {
    std::uint64_t count{0};
    BenchTime last{};
    Intervals intervals;
  };
  const std::vector<Signal>& signals() const { return signals_; }
  BenchTime begin{}, end{};

 private:
  std::vector<Signal> signals_;
  bool any_{false};
};

class Writer final : public RecordingSink {
 public:
  Writer(const ImportDescription& description, const Survey& survey, JournalWriter& journal)
      : description_{description}, survey_{survey}, journal_{journal}, last_(description.signals.size()) {
    by_ = std::holds_alternative<CandumpForm>(description.form) ? StampedBy::kernel : StampedBy::device;
  }
  Result<void> at(BenchTime) override { return state_; }
  void sample(SignalIndex signal, BenchTime when, double value) override {
    if (!state_) return;
    auto& last = last_[signal];
    if (last && when - *last > survey_.gaps[signal]) note_gap(signal, *last, when);
    last = when;
    state_ = journal_.put(Record{
        Sample{when, value, static_cast<std::uint32_t>(survey_.stamp_half_widths[signal].count()), signal, by_}});
  }
  Result<void> finish() {
    close_gap();
    if (!state_) return state_;
    return journal_.end(survey_.end, "imported");
  }

 private:
  // The signals of a row fall silent together: one gap for all of them.
  void note_gap(SignalIndex signal, BenchTime from, BenchTime to) {
    const auto usual = survey_.intervals[signal];
    const auto missing =
        static_cast<std::uint64_t>(std::max<std::int64_t>(1, std::llround(seconds(to - from) / seconds(usual)) - 1));
    if (!gap_ || gap_->from != from || gap_->to != to) {
      close_gap();
      gap_ = Gap{from, to, 0, ""};
      first_ = description_.signals[signal].info.name;
      others_ = 0;
    } else {
      ++others_;
    }
    gap_->count += missing;
    usual_ = usual;
  }
  void close_gap() {
    if (gap_ && state_) {
      gap_->why = "the recording has no sample of '" + first_ + "'" +
                  (others_ > 0 ? " and " + std::to_string(others_) + " more" : "") + " for " +
                  shown(seconds(gap_->to - gap_->from), 3) + " s, usually one every " +
                  shown(1e3 * seconds(usual_), 3) + " ms";
      state_ = journal_.gap(*gap_);
    }
    gap_.reset();
  }

  const ImportDescription& description_;
  const Survey& survey_;
  JournalWriter& journal_;
  StampedBy by_{StampedBy::device};
  Result<void> state_;
  std::vector<std::optional<BenchTime>> last_;  // by signal
  std::optional<Gap> gap_;
  std::string first_;
  std::size_t others_{0};
  Duration usual_{};
};

}  // namespace

std::vector<std::string> Survey::notes() const {
  auto all = counts.notes();
  all.insert(all.end(), own_notes.begin(), own_notes.end());
  return all;
}

Result<Survey> survey(const ImportDescription& description, ByteSource source) {
  Survey out;
  Surveyor surveyor{description.signals.size()};
  if (auto read = read_recording(description, std::move(source), out.counts, surveyor); !read)
    return tl::unexpected<Error>{read.error()};
  out.begin = surveyor.begin;
  out.end = surveyor.end;
  constexpr Duration most{UINT32_MAX};
  bool by_interval = false, too_wide = false;
  for (std::size_t i = 0; i < description.signals.size(); ++i) {
    const auto& s = surveyor.signals()[i];
    const auto usual = s.intervals.median();
    out.samples.push_back(s.count);
    out.intervals.push_back(usual);
    out.gaps.push_back(description.gap      ? *description.gap
                       : usual > Duration{} ? gap_intervals * usual
                                            : Duration::max());
    // When the file does not say within what its stamps hold, a sample may be from any time between its neighbours'.
    by_interval = by_interval || !description.stamp_half_width;
    const auto width = std::max(description.stamp_half_width.value_or(usual / 2), out.counts.stamp_step / 2);
    too_wide = too_wide || width > most;
    out.stamp_half_widths.push_back(std::min(width, most));
    if (s.count == 0) out.own_notes.push_back("'" + description.signals[i].info.name + "' has no sample");
  }
  if (by_interval)
    out.own_notes.push_back(
        "the description does not say how far the time stamps may be off; half the usual interval between samples is "
        "taken, either way");
  if (too_wide)
    out.own_notes.push_back("the time stamps are coarser than can be kept; their half-width was taken as 4.3 s");
  return out;
}

std::vector<SignalInfo> recorded_signals(const ImportDescription& description, const Survey& survey) {
  std::vector<SignalInfo> all;
  for (std::size_t i = 0; i < description.signals.size(); ++i) {
    const auto& spec = description.signals[i];
    auto& info = all.emplace_back(spec.info);
    if (const int places = survey.counts.places[i]; info.resolution == 0.0 && places != INT32_MIN) {
      info.resolution = std::abs(spec.gain) * std::pow(10.0, -places);
      info.resolution_offset = spec.offset;
    }
  }
  return all;
}

Result<void> write_recording(const ImportDescription& description, const Survey& survey, ByteSource source,
                             JournalWriter& journal) {
  ReadCounts counts;
  Writer writer{description, survey, journal};
  if (auto read = read_recording(description, std::move(source), counts, writer); !read) return read;
  return writer.finish();
}

}  // namespace trackrod
