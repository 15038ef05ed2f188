#pragma once
// All devices of a bench with their links, in the order of Bench::devices.

#include <cstdint>
#include <memory>
#include <span>
#include <vector>

#include "drivers/device/field_device.hpp"
#include "drivers/link/link.hpp"
#include "drivers/link/memory_link.hpp"
#include "drivers/protocol/protocol.hpp"
#include "harness/bench/bench.hpp"

namespace trackrod {

struct DeviceSet {
  std::vector<std::unique_ptr<Link>> links;
  std::vector<std::unique_ptr<FieldDevice>> devices;

  // The same as plain pointers, for the reader and the engine.
  std::vector<Link*> link_pointers() const;
  std::vector<Device*> device_pointers() const;
  // For the process that takes over; -1 for a link in memory.
  std::vector<int> descriptors() const;
};

// Opens every link: may block. When some cannot be opened, all of them are named, one a line.
Result<DeviceSet> open_devices(const Bench& bench);
// Takes over descriptors that another process opened with open_devices().
DeviceSet adopt_devices(const Bench& bench, std::span<const int> descriptors);
// On links made elsewhere, such as ends of memory wires; one a device.
DeviceSet make_devices(const Bench& bench, std::vector<std::unique_ptr<Link>> links);

// The wires of a rehearsal, one a device, each behaving as its kind of link is modelled. Wire i is seeded from `seed`
// and i.
std::vector<MemoryWire> make_wires(const Bench& bench, std::uint64_t seed);

// For a program that stands in for the devices: the other end of every link, and the protocol seen from there.
Result<std::vector<std::unique_ptr<Link>>> open_far_ends(const Bench& bench);
std::unique_ptr<Protocol> make_protocol(const DeviceSpec& device, Side side);
// What a device can say of itself over that protocol.
std::vector<std::string> identity_names(const Chosen& protocol);

}  // namespace trackrod
