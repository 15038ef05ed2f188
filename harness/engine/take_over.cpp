#include "harness/engine/take_over.hpp"

namespace trackrod {
namespace {

class SafeHands final : public InputSink, public SequenceHands {
 public:
  explicit SafeHands(const TakeOverParts& parts) : parts_{parts}, live_{parts.bench} {}

  void inherit(const Testament& testament) {
    for (std::size_t d = 0; d < parts_.devices.size(); ++d) parts_.devices[d]->take_over(testament.protocols[d]);
    for (std::size_t s = 0; s < parts_.bench.signals.size(); ++s)
      if (parts_.bench.signals[s].info.direction == Direction::drive)
        write(static_cast<SignalIndex>(s), testament.sent[s]);
  }

  SequenceRunner::State advance(SequenceRunner& runner, BenchTime now) {
    parts_.inputs.deliver(now, *this);
    for (std::size_t d = 0; d < parts_.devices.size(); ++d) {
      const auto heard = parts_.devices[d]->last_heard();
      live_.set_lost(d, heard == BenchTime{} || now - heard > parts_.bench.devices[d].timeout);
    }
    now_ = now;
    const auto state = runner.advance(now, live_, *this);
    for (auto* device : parts_.devices) device->transmit(now);
    return state;
  }

  void event(EventKind kind, std::uint32_t a, std::uint32_t b, double value = 0.0) {
    parts_.records.put(Event{now_, value, a, b, kind});
  }

  void put(const Sample& sample) noexcept override {
    live_.take(sample);
    parts_.records.put(sample);
  }
  void link_lost(std::uint16_t device, int error) noexcept override {
    event(EventKind::device_lost, device, static_cast<std::uint32_t>(error));
  }
  void write(SignalIndex signal, double value) noexcept override {
    parts_.devices[live_.device_of(signal)]->set(signal, value);
  }
  bool settled(SignalIndex signal) const noexcept override {
    return parts_.devices[live_.device_of(signal)]->settled(signal);
  }
  void note(std::size_t action, bool effect, bool good) noexcept override {
    event(effect ? EventKind::safe_effect : EventKind::safe_write, static_cast<std::uint32_t>(action), good ? 1 : 0);
  }

 private:
  const TakeOverParts& parts_;
  LiveValues live_;
  BenchTime now_{};
};

}  // namespace

bool take_over(const TakeOverParts& parts, const Testament& testament) {
  SafeHands hands{parts};
  hands.inherit(testament);
  SequenceRunner runner{parts.bench.safe_state.actions, OnFailure::go_on};
  const auto start = parts.time.now();
  auto state = hands.advance(runner, start);
  while (state == SequenceRunner::State::running && parts.time.now() - start < parts.bench.safe_state.within) {
    parts.time.sleep_until(parts.time.now() + parts.bench.tick);
    state = hands.advance(runner, parts.time.now());
  }
  const bool all_seen = state == SequenceRunner::State::done;
  hands.event(EventKind::safe_done, all_seen ? 1 : 0, 1, seconds(parts.time.now() - start));
  return all_seen;
}

}  // namespace trackrod
