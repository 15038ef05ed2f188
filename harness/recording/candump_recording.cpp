// Recorded CAN buses.

#include <cmath>
#include <memory>

#include "drivers/protocol/frames.hpp"
#include "harness/recording/candump_line.hpp"
#include "harness/recording/reading.hpp"
#include "harness/recording/text_lines.hpp"

namespace trackrod {
namespace {

// One direction of one device: its frames, and where their fields go.
class Decoder final : public FieldSink {
 public:
  Decoder(const FramesSettings& settings, Side side, const ImportDescription& description, RecordingSink& sink,
          ReadCounts& counts)
      : frames_{settings, side},
        wanted_{frames_.wanted()},
        description_{description},
        sink_{sink},
        counts_{counts},
        signals_(frames_.fields().size()) {}

  // True when this direction carries the field.
  bool connect(const std::string& field, SignalIndex signal) {
    for (std::size_t f = 0; f < signals_.size(); ++f)
      if (frames_.fields()[f].name == field && frames_.fields()[f].readable) {
        signals_[f].push_back(signal);
        return true;
      }
    return false;
  }
  bool wants(const CanFrame& frame) const {
    for (const auto& w : wanted_)
      if (w.extended == frame.extended && ((frame.id ^ w.id) & w.mask) == 0) return true;
    return false;
  }
  void take(std::span<const std::byte> datagram, BenchTime when) {
    frames_.on_quiet(when, *this);
    frames_.on_bytes(datagram, {when, StampedBy::kernel, {}}, *this);
  }
  void field(FieldIndex field, double value, Stamp stamp) noexcept override {
    for (const auto signal : signals_[field]) {
      const auto& spec = description_.signals[signal];
      if (std::isnan(value)) ++counts_.no_values;
      sink_.sample(signal, stamp.when, spec.gain * value + spec.offset);
    }
  }
  const ProtocolCounters& counters() const { return frames_.counters(); }

 private:
  Frames frames_;
  std::vector<CanFilter> wanted_;
  const ImportDescription& description_;
  RecordingSink& sink_;
  ReadCounts& counts_;
  std::vector<std::vector<SignalIndex>> signals_;  // by field
};

std::string rejections(const std::string& device, const ProtocolCounters& c) {
  std::string all;
  for (const auto& [count, words] : {std::pair{c.bad_checksum, "with a wrong checksum"},
                                     {c.bad_length, "of a wrong length or kind"},
                                     {c.lost, "missing by the alive counter"},
                                     {c.repeated, "repeated by the alive counter"},
                                     {c.reordered, "overtaken by a later one"},
                                     {c.wrong_sequence, "out of sequence by their protection"}})
    if (count > 0) all += (all.empty() ? "" : ", ") + std::to_string(count) + " " + words;
  return all.empty() ? "" : "frames of '" + device + "' that gave no sample: " + all;
}

class CandumpRecording {
 public:
  CandumpRecording(const ImportDescription& description, const CandumpForm& form, ByteSource source, ReadCounts& counts,
                   RecordingSink& sink)
      : form_{form}, text_{std::move(source)}, counts_{counts}, sink_{sink}, rows_{description, counts} {
    for (const auto& device : form.devices)
      for (const auto side : {Side::bench, Side::peer})
        decoders_.push_back(std::make_unique<Decoder>(device.frames, side, description, sink, counts));
    // What a device tells goes before what it is told under the same name.
    for (std::size_t i = 0; i < description.signals.size(); ++i) {
      const auto& spec = description.signals[i];
      const auto signal = static_cast<SignalIndex>(i);
      if (!decoders_[2 * spec.device]->connect(spec.field, signal))
        decoders_[2 * spec.device + 1]->connect(spec.field, signal);
    }
  }

  Result<void> read() {
    while (text_.peek() != TextLines::end) {
      const auto at = text_.line();
      const auto line = text_.take_line();
      if (!line) return tl::unexpected<Error>{line.error()};
      if (line->find_first_not_of(" \t") == std::string_view::npos) {
        ++counts_.blank_lines;
        continue;
      }
      if (auto taken = take(at, *line); !taken) return taken;
    }
    counts_.marked = text_.marked();
    for (std::size_t d = 0; d < form_.devices.size(); ++d)
      for (const auto side : {2 * d, 2 * d + 1})
        if (auto words = rejections(form_.devices[d].name, decoders_[side]->counters()); !words.empty())
          counts_.rejected.push_back(std::move(words));
    return text_.state();
  }

 private:
  Result<void> take(std::uint64_t at, std::string_view text) {
    if (const auto wrong = read_candump_line(text, line_); !wrong.empty()) return rows_.bad(at, wrong);
    if (form_.deltas && __builtin_add_overflow(sum_, line_.ns, &sum_))
      return rows_.bad(at, "the times add up to too much");
    const auto when = time();
    // The sockets of several interfaces may be read out of order, so others' times are not looked at.
    if (!form_.interface.empty() && form_.interface != line_.interface) return ++counts_.foreign_frames, Result<void>{};
    if (const auto back = rows_.time(when)) return rows_.bad(at, *back);
    return give(when);
  }

  BenchTime time() {
    const Duration step{line_.step_ns};
    if (counts_.stamp_step == Duration{} || step < counts_.stamp_step) counts_.stamp_step = step;
    if (form_.deltas) return BenchTime{Duration{sum_}};
    counts_.no_offset = counts_.no_offset || !line_.has_offset;
    if (line_.dated && !begun_) counts_.wall_of_zero = line_.ns;
    begun_ = true;
    return BenchTime{Duration{line_.ns - counts_.wall_of_zero.value_or(0)}};
  }

  Result<void> give(BenchTime when) {
    const auto& frame = line_.frame;
    if (frame.error) return ++counts_.error_frames, Result<void>{};
    if (frame.remote) return ++counts_.remote_frames, Result<void>{};
    const auto datagram = write_can(frame, datagram_);
    bool ours = false;
    for (auto& decoder : decoders_) {
      if (!decoder->wants(frame)) continue;
      if (!ours)
        if (auto taken = sink_.at(when); !taken) return taken;
      ours = true;
      decoder->take(datagram, when);
    }
    ++(ours ? counts_.rows : counts_.foreign_frames);
    return {};
  }

  const CandumpForm& form_;
  TextLines text_;
  ReadCounts& counts_;
  RecordingSink& sink_;
  RowKeeper rows_;
  std::vector<std::unique_ptr<Decoder>> decoders_;  // of each device two: what it sends, what is sent to it
  CandumpLine line_;
  std::array<std::byte, greatest_can_datagram> datagram_{};
  std::int64_t sum_{0};  // of the differences
  bool begun_{false};
};

}  // namespace

Result<void> read_candump(const ImportDescription& description, const CandumpForm& form, ByteSource source,
                          ReadCounts& counts, RecordingSink& sink) {
  return CandumpRecording{description, form, std::move(source), counts, sink}.read();
}

}  // namespace trackrod
