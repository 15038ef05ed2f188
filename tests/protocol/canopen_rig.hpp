#pragma once
// A bench's end and a drive on one wire, in virtual time.

#include "tests/protocol/canopen_peer.hpp"
#include "tests/protocol/wire.hpp"

namespace trackrod::testing {

inline const std::string servo_settings =
    R"({"kind": "canopen", "node": 5, "profile": 402, "sync": true, "cycle": "1 ms",
    "timeout": "20 ms", "transition_timeout": "50 ms", "identity": {"vendor": 287454020, "name": "servo"},
    "heartbeat": {"every": "10 ms", "lost_after": "35 ms"},
    "read": {"position": {"object": "6064:00", "type": "i32", "scale": 0.001},
             "torque": {"object": "6077:00", "type": "i16", "scale": 0.1, "every": "10 ms"}},
    "drive": {"target": {"object": "607A:00", "type": "i32", "scale": 0.001},
              "limit": {"object": "6072:00", "type": "u16"}}})";

struct CanopenRig {
  explicit CanopenRig(const std::string& settings = servo_settings, unsigned node = 5)
      : peer{node}, bench{make(settings)} {
    peer.put(0x6072, 0, 1000, 2);
    peer.start_anew();
  }

  void run(Duration duration) {
    for (const auto end = now + duration; now < end; now += std::chrono::microseconds{250}) step();
  }
  // Until `done` or for a second.
  template <class Done>
  bool run_until(Done done) {
    for (int i = 0; i < 4000; ++i, now += std::chrono::microseconds{250}) {
      step();
      if (done()) return true;
    }
    return false;
  }
  void step() {
    for (auto b = bench->due(at(now)); !b.empty(); b = bench->due(at(now))) {
      sent.push_back(can_data(b));
      peer.take(sent.back(), now);
    }
    for (const auto& f : peer.due(now)) bench->on_bytes(datagram(f), stamp(now), sink);
    for (auto m = bench->take_message(); m != 0; m = bench->take_message()) told.push_back(bench->describe_message(m));
  }
  void set(const std::string& field, double value) { bench->set(index(*bench, field), value); }
  bool settled(const std::string& field) { return bench->settled(index(*bench, field)); }
  double last(const std::string& field) {
    const auto all = sink.of(index(*bench, field));
    return all.empty() ? std::nan("") : all.back();
  }
  bool enable() {
    set("drive_wanted", 1);
    run(std::chrono::milliseconds{2});
    set("drive_wanted", 4);
    return run_until([&] { return settled("drive_wanted"); });
  }
  bool was_told(const std::string& words) const {
    for (const auto& t : told)
      if (t.find(words) != std::string::npos) return true;
    return false;
  }
  std::vector<CanData> sent_with(unsigned id) const {
    std::vector<CanData> some;
    for (const auto& f : sent)
      if (f.id == id) some.push_back(f);
    return some;
  }

  CanopenPeer peer;
  std::unique_ptr<Protocol> bench;
  KeptFields sink;
  Duration now{std::chrono::seconds{1}};
  std::vector<CanData> sent;
  std::vector<std::string> told;
};

}  // namespace trackrod::testing
