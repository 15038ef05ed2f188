#pragma once
// A bench's end and a simulated device on one wire, in virtual time.

#include <cmath>
#include <functional>

#include "fixtures/simulator/canopen_drive.hpp"
#include "fixtures/simulator/canopen_encoder.hpp"
#include "tests/protocol/can_data.hpp"

namespace trackrod::testing {

inline const std::string servo_settings =
    R"({"kind": "canopen", "node": 5, "profile": 402, "sync": true, "cycle": "1 ms",
    "timeout": "20 ms", "transition_timeout": "50 ms", "identity": {"vendor": 287454020, "name": "servo"},
    "heartbeat": {"every": "10 ms", "lost_after": "35 ms"},
    "read": {"position": {"object": "6064:00", "type": "i32", "scale": 0.001},
             "torque": {"object": "6077:00", "type": "i16", "scale": 0.1, "every": "10 ms"}},
    "drive": {"target": {"object": "607A:00", "type": "i32", "scale": 0.001},
              "limit": {"object": "6072:00", "type": "u16"}}})";

template <class Device>
struct CanopenWire {
  template <class... Arguments>
  explicit CanopenWire(const std::string& settings, const Arguments&... of_device)
      : peer{of_device...}, bench{make(settings)} {}

  // Of PDO `pdo`, stored in the device.
  void map_sent(unsigned pdo, std::vector<std::uint32_t> entries) { peer.map_sent(pdo, entries, 1), peer.store(); }
  void map_taken(unsigned pdo, std::vector<std::uint32_t> entries) { peer.map_taken(pdo, entries, 255), peer.store(); }
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
      if (!cut) peer.take(sent.back().id, data_bytes(sent.back()), at(now));
      look();
    }
    for (auto f = peer.due(at(now)); f; f = peer.due(at(now)))
      if (!cut) bench->on_bytes(datagram(can_data(f->id, f->data)), stamp(now), sink);
    look();
    for (auto m = bench->take_message(); m != 0; m = bench->take_message()) told.push_back(bench->describe_message(m));
  }

  void set(const std::string& field, double value) { bench->set(index(*bench, field), value); }
  bool settled(const std::string& field) { return bench->settled(index(*bench, field)); }
  double last(const std::string& field) {
    const auto all = sink.of(index(*bench, field));
    return all.empty() ? std::nan("") : all.back();
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
  bool is_operational() const { return peer.nmt_state() == NmtState::operational; }

  Device peer;
  std::unique_ptr<Protocol> bench;
  KeptFields sink;
  Duration now{std::chrono::seconds{1}};
  bool cut{false};                     // no frame gets through
  std::function<void()> look = [] {};  // after each frame
  std::vector<CanData> sent;
  std::vector<std::string> told;
};

// With a drive, number 5, that can hold a quick stop.
struct CanopenRig : CanopenWire<CanopenDrive> {
  explicit CanopenRig(const std::string& settings = servo_settings)
      : CanopenWire{settings, 5U, "servo axis of the test"} {
    peer.objects().set({0x1018, 1}, 0x11223344);
    peer.objects().set({0x1018, 2}, 7);
    peer.objects().set({0x1018, 3}, 0x00010002);
    peer.objects().set({0x1018, 4}, 4711);
    peer.objects().set(drive_object::quick_stop_option, 6);
    peer.store();
    peer.power_on();
    look = [this] { note(); };
  }
  CanopenRig(const CanopenRig&) = delete;
  CanopenRig& operator=(const CanopenRig&) = delete;
  void note() {
    if (states.empty() || states.back() != peer.state()) states.push_back(peer.state());
    const auto word = static_cast<unsigned>(peer.objects().raw(drive_object::control_word));
    if (word != (control_words.empty() ? 0 : control_words.back())) control_words.push_back(word);
  }
  bool enable() {
    set("drive_wanted", 1);
    run(std::chrono::milliseconds{2});
    set("drive_wanted", 4);
    return run_until([&] { return settled("drive_wanted"); });
  }

  std::vector<DriveState> states;       // in the order they were entered
  std::vector<unsigned> control_words;  // each change
};

}  // namespace trackrod::testing
