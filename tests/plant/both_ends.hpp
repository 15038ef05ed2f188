#pragma once

#include <array>
#include <map>
#include <memory>
#include <string>
#include <vector>

#include "drivers/device/device_set.hpp"
#include "fixtures/simulator/simulated_bench.hpp"
#include "tests/bench/demo.hpp"
#include "tests/catch.hpp"

namespace trackrod::test {

using namespace std::chrono_literals;

// Both ends of the demo bench, turned by hand.
class Both : private SampleSink {
 public:
  explicit Both(const Truth& truth, const Sources& bench = {{"bench.json", demo_text()}}, std::uint64_t seed = 1) {
    auto parsed = parse(bench);
    INFO(parsed.sentences());
    REQUIRE(parsed.bench);
    bench_ = std::move(parsed.bench);
    std::vector<std::unique_ptr<Link>> near_ends, far_ends;
    for (const auto& wire : make_wires(*bench_, seed)) {
      near_ends.push_back(wire.bench_end());
      far_ends.push_back(wire.far_end());
    }
    set_ = make_devices(*bench_, std::move(near_ends));
    auto made = SimulatedBench::make(*bench_, truth, seed, std::move(far_ends), now_);
    if (!made) FAIL(made.error().context);
    simulated_ = std::move(*made);
  }

  void drive(const std::string& signal, double value) {
    const auto index = bench_->find(signal);
    REQUIRE(index);
    REQUIRE(set_.devices[bench_->signals[*index].device]->set(*index, value));
  }
  // A fault of messages of the bench's catalogue is there from now on, or is no more.
  void make(const std::string& fault) { of_messages(fault, &Device::disturb); }
  void remove(const std::string& fault) { of_messages(fault, &Device::leave); }
  bool settled(const std::string& signal) const {
    const auto index = *bench_->find(signal);
    return set_.devices[bench_->signals[index].device]->settled(index);
  }
  double value(const std::string& signal) const { return latest_.at(*bench_->find(signal)).value; }
  // Turns both ends for `span`; the bench talks unless it is `silent`.
  void run(Duration span, bool silent = false) {
    for (const auto end = now_ + span; now_ < end; now_ += 1ms) {
      simulated_->step(now_);
      std::array<std::byte, 2048> bytes{};
      for (std::size_t i = 0; i < set_.links.size(); ++i) {
        for (auto got = set_.links[i]->receive(bytes, now_); got.state == Received::State::bytes;
             got = set_.links[i]->receive(bytes, now_))
          set_.devices[i]->arrived(std::span{bytes}.first(got.size), got.stamp, *this);
        if (!silent) set_.devices[i]->transmit(now_);
      }
    }
  }
  void arm() {
    drive("supply.voltage_cmd", 13.5);
    drive("supply.output", 1.0);
    drive("unit.ignition", 1.0);
    drive("hand.mode", 0.0);
    drive("hand.angle_cmd", 0.0);
    drive("hand.torque_cmd", 0.0);
    drive("road.load_cmd", 0.0);
    drive("vehicle.speed", 0.0);
    run(1s);
  }
  SimulatedBench& simulated() { return *simulated_; }
  const Plant& plant() const { return simulated_->plant(); }

 private:
  void of_messages(const std::string& fault, void (Device::*act)(const MessageFault&)) {
    const auto index = bench_->find_fault(fault);
    REQUIRE(index);
    const auto& way = std::get<MessageFault>(bench_->faults[*index].way);
    Device& device = *set_.devices[way.device];
    (device.*act)(way);
  }
  void put(const Sample& sample) noexcept override { latest_[sample.signal] = sample; }

  std::unique_ptr<Bench> bench_;
  DeviceSet set_;
  std::unique_ptr<SimulatedBench> simulated_;
  std::map<SignalIndex, Sample> latest_;
  BenchTime now_{1s};
};

}  // namespace trackrod::test
