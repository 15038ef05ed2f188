#pragma once
// A simulated CANopen device on a bus of its own, frames by hand.

#include <cstdint>
#include <string>
#include <vector>

#include "fixtures/simulator/canopen_node.hpp"
#include "tests/catch.hpp"

namespace trackrod::testing {

using namespace std::chrono_literals;

struct BusFrame {
  unsigned id{0};
  std::vector<int> data;
  bool operator==(const BusFrame&) const = default;
};
inline std::ostream& operator<<(std::ostream& out, const BusFrame& f) {
  out << std::hex << f.id << " [";
  for (const int b : f.data) out << ' ' << b;
  return out << " ]" << std::dec;
}
using BusFrames = std::vector<BusFrame>;

class CanopenBus {
 public:
  explicit CanopenBus(CanopenNode& node) : node_{node} {}

  void send(unsigned id, const std::vector<int>& data) {
    std::vector<std::byte> bytes;
    for (const int b : data) bytes.push_back(static_cast<std::byte>(b));
    node_.take(id, bytes, now);
  }
  BusFrames answers() {
    BusFrames all;
    for (auto f = node_.due(now); f; f = node_.due(now)) {
      all.push_back({f->id, {}});
      for (const auto b : f->data) all.back().data.push_back(std::to_integer<int>(b));
    }
    return all;
  }
  // The one frame that answers this one.
  BusFrame ask(unsigned id, const std::vector<int>& data) {
    send(id, data);
    const auto all = answers();
    return all.size() == 1 ? all[0] : BusFrame{};
  }
  // What comes within the time, looked at every millisecond.
  BusFrames wait(Duration time) {
    BusFrames all;
    for (const auto end = now + time; now < end;) {
      now += 1ms;
      for (auto& f : answers()) all.push_back(std::move(f));
    }
    return all;
  }

  BenchTime now{1s};

 private:
  CanopenNode& node_;
};

}  // namespace trackrod::testing
