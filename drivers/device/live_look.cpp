#include "drivers/device/live_look.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstring>
#include <optional>

#include "drivers/device/device_set.hpp"
#include "drivers/link/reader.hpp"

namespace trackrod {
namespace {

constexpr Duration tick = std::chrono::milliseconds{1};

// Takes the samples of all devices.
class Watcher final : public SampleSink {
 public:
  explicit Watcher(std::vector<SignalLook>& signals) : signals_{signals} {}
  void put(const Sample& sample) noexcept override {
    auto& look = signals_[sample.signal];
    if (look.last) look.cycle.add(sample.when - look.last->when);
    if (std::isnan(sample.value)) ++look.missing;
    look.last = sample;
  }

 private:
  std::vector<SignalLook>& signals_;
};

// One device under the look.
class Watched {
 public:
  Watched(const Bench& bench, std::size_t index, std::unique_ptr<Link> link, DeviceLook& look)
      : link_{std::move(link)},
        device_{bench, index, *link_, make_protocol(bench.devices[index], Side::bench),
                carried_by(bench.devices[index].link)},
        timeout_{bench.devices[index].timeout},
        look_{look} {
    link_->want(device_.protocol().wanted(), device_.protocol().sends());
    look_.link = link_->describe();
    look_.remark = link_->remark();
  }

  Link& link() { return *link_; }
  void arrived(const Arrival& arrival, SampleSink& samples) {
    if (arrival.lost()) {
      look_.trouble = arrival.error != 0 ? std::strerror(arrival.error) : "the far side hung up";
      return;
    }
    const auto before = device_.last_heard();
    device_.arrived(arrival.data(), arrival.stamp, samples);
    note_message_after(before);
  }
  // What is known without an arrival: figures of the link, and messages that silence ends.
  void look(BenchTime now, SampleSink& samples) {
    const auto before = device_.last_heard();
    device_.look(now, samples);
    note_message_after(before);
  }
  void transmit(BenchTime now) {
    if (device_.transmit(now) == Sent::sent) asked_ = now;
    if (const auto code = device_.take_message(); code != 0) {
      auto words = device_.describe_message(code);
      if (words.empty()) words = "message " + std::to_string(static_cast<std::int32_t>(code));
      if (std::find(look_.messages.begin(), look_.messages.end(), words) == look_.messages.end())
        look_.messages.push_back(std::move(words));
    }
  }
  void sum_up(BenchTime now) {
    look_.alive =
        look_.trouble.empty() && device_.last_heard() != BenchTime{} && now - device_.last_heard() <= timeout_;
    look_.identity = device_.protocol().identity();
    look_.clocks = device_.protocol().clocks();
    look_.counters = device_.protocol().counters();
    look_.dropped_by_kernel = link_->counters().dropped_by_kernel;
    look_.foreign = link_->counters().foreign;
    if (link_->counters().echoes > 0)
      look_.echo = Duration{static_cast<Duration::rep>(link_->counters().greatest_echo_ns)};
  }

 private:
  void note_message_after(BenchTime before) {
    const auto heard = device_.last_heard();
    if (heard == before) return;
    if (before != BenchTime{}) look_.cycle.add(heard - before);
    if (asked_) look_.answer.add(heard - *asked_);
    asked_.reset();
  }

  std::unique_ptr<Link> link_;
  FieldDevice device_;
  Duration timeout_;
  DeviceLook& look_;
  std::optional<BenchTime> asked_;
};

}  // namespace

void Spacing::add(Duration d) {
  least = count == 0 ? d : std::min(least, d);
  most = count == 0 ? d : std::max(most, d);
  sum_ += d;
  ++count;
  mean = sum_ / static_cast<Duration::rep>(count);
}

struct LiveWatch::Parts {
  Parts(const Bench& bench, std::vector<std::unique_ptr<Link>> links, TimeSource& clock)
      : time{clock},
        look{std::vector<DeviceLook>(bench.devices.size()), std::vector<SignalLook>(bench.signals.size())},
        due{clock.now()} {
    std::vector<Link*> open;
    for (std::size_t i = 0; i < bench.devices.size(); ++i) {
      if (links[i] == nullptr) continue;
      watched.push_back(std::make_unique<Watched>(bench, i, std::move(links[i]), look.devices[i]));
      open.push_back(&watched.back()->link());
    }
    reader.emplace(open);
  }

  TimeSource& time;
  BenchLook look;
  Watcher samples{look.signals};
  std::vector<std::unique_ptr<Watched>> watched;
  std::optional<Reader> reader;
  BenchTime due;
};

LiveWatch::LiveWatch(const Bench& bench, std::vector<std::unique_ptr<Link>> links, TimeSource& time)
    : parts_{std::make_unique<Parts>(bench, std::move(links), time)} {}

LiveWatch::LiveWatch(const Bench& bench, TimeSource& time) {
  std::vector<std::unique_ptr<Link>> links;
  std::vector<std::string> troubles;
  for (const auto& device : bench.devices) {
    auto link = link_kind(device.link.kind).open(device.link.value);
    troubles.push_back(link ? "" : link.error().context);
    links.push_back(link ? std::move(*link) : nullptr);
  }
  parts_ = std::make_unique<Parts>(bench, std::move(links), time);
  for (std::size_t i = 0; i < troubles.size(); ++i)
    if (!troubles[i].empty()) parts_->look.devices[i].trouble = troubles[i];
}

LiveWatch::LiveWatch(LiveWatch&&) noexcept = default;
LiveWatch::~LiveWatch() = default;

void LiveWatch::step(const std::function<void(BenchTime)>& before) {
  auto& parts = *parts_;
  parts.time.sleep_until(parts.due);
  if (before) before(parts.due);
  const auto now = parts.time.now();
  parts.due = std::max(parts.due + tick, now);  // a person may have been asked meanwhile
  parts.reader->poll_inline(now);
  parts.reader->consume([&](const Arrival& arrival) { parts.watched[arrival.link]->arrived(arrival, parts.samples); });
  for (auto& w : parts.watched) w->look(now, parts.samples);
  for (auto& w : parts.watched) w->transmit(parts.time.now());
}

const BenchLook& LiveWatch::look() const { return parts_->look; }

BenchLook LiveWatch::sum_up() {
  for (auto& w : parts_->watched) w->sum_up(parts_->time.now());
  return parts_->look;
}

namespace {

BenchLook look_for(LiveWatch watch, Duration how_long, TimeSource& time, const std::function<void(BenchTime)>& before) {
  for (const auto end = time.now() + how_long; time.now() <= end;) watch.step(before);
  return watch.sum_up();
}

}  // namespace

BenchLook look_at(const Bench& bench, std::vector<std::unique_ptr<Link>> links, Duration how_long, TimeSource& time,
                  const std::function<void(BenchTime)>& before) {
  return look_for(LiveWatch{bench, std::move(links), time}, how_long, time, before);
}

BenchLook look_at(const Bench& bench, Duration how_long, TimeSource& time) {
  return look_for(LiveWatch{bench, time}, how_long, time, {});
}

}  // namespace trackrod
