#include "drivers/device/device_set.hpp"

#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <string>
#include <utility>

namespace trackrod {
namespace {

using Opener = Result<std::unique_ptr<Link>> (*LinkKind::*)(const std::any&);

// All links by way of `opener`; every one that fails is named.
Result<std::vector<std::unique_ptr<Link>>> open_all(const Bench& bench, Opener opener) {
  std::vector<std::unique_ptr<Link>> links;
  std::vector<Error> errors;
  for (const auto& device : bench.devices) {
    auto link = (link_kind(device.link.kind).*opener)(device.link.value);
    if (link)
      links.push_back(std::move(*link));
    else
      errors.push_back(std::move(link.error()).within("device '" + device.name + "'"));
  }
  if (errors.empty()) return links;
  for (std::size_t i = 1; i < errors.size(); ++i) errors[0].context += "\n" + errors[i].context;
  return tl::unexpected<Error>{std::move(errors[0])};
}

const ProtocolKind* find_protocol(const Chosen& protocol) {
  for (const auto& kind : protocol_table())
    if (kind.entry.settings.name == protocol.kind) return &kind;
  return nullptr;
}

}  // namespace

std::vector<Link*> DeviceSet::link_pointers() const {
  std::vector<Link*> all;
  for (const auto& link : links) all.push_back(link.get());
  return all;
}

std::vector<Device*> DeviceSet::device_pointers() const {
  std::vector<Device*> all;
  for (const auto& device : devices) all.push_back(device.get());
  return all;
}

std::vector<int> DeviceSet::descriptors() const {
  std::vector<int> all;
  for (const auto& link : links) all.push_back(link->descriptor());
  return all;
}

Result<DeviceSet> open_devices(const Bench& bench) {
  auto links = open_all(bench, &LinkKind::open);
  if (!links) return tl::unexpected<Error>{std::move(links.error())};
  return make_devices(bench, std::move(*links));
}

DeviceSet adopt_devices(const Bench& bench, std::span<const int> descriptors) {
  std::vector<std::unique_ptr<Link>> links;
  for (std::size_t i = 0; i < std::min(bench.devices.size(), descriptors.size()); ++i) {
    const auto& link = bench.devices[i].link;
    links.push_back(link_kind(link.kind).adopt(link.value, descriptors[i]));
  }
  return make_devices(bench, std::move(links));
}

DeviceSet make_devices(const Bench& bench, std::vector<std::unique_ptr<Link>> links) {
  if (links.size() != bench.devices.size()) {
    std::fprintf(stderr, "trackrod: %zu links were handed over for %zu devices\n", links.size(), bench.devices.size());
    std::abort();
  }
  DeviceSet set{std::move(links), {}};
  for (std::size_t i = 0; i < bench.devices.size(); ++i) {
    auto protocol = make_protocol(bench.devices[i], Side::bench);
    set.links[i]->want(protocol->wanted(), protocol->sends());
    set.devices.push_back(
        std::make_unique<FieldDevice>(bench, i, *set.links[i], std::move(protocol), carried_by(bench.devices[i].link)));
  }
  return set;
}

std::vector<MemoryWire> make_wires(const Bench& bench, std::uint64_t seed) {
  std::vector<MemoryWire> wires;
  for (const auto& device : bench.devices) {
    // Odd multiplier of a linear congruential generator (Knuth's MMIX): neighbouring seeds shall share no wire's
    // stream.
    const auto own_seed = seed * 6364136223846793005ULL + wires.size();
    wires.emplace_back(link_kind(device.link.kind).model(device.link.value), own_seed, device.name);
  }
  return wires;
}

Result<std::vector<std::unique_ptr<Link>>> open_far_ends(const Bench& bench) {
  auto links = open_all(bench, &LinkKind::open_far_end);
  if (!links) return links;
  for (std::size_t i = 0; i < links->size(); ++i)
    if (const auto peer = make_protocol(bench.devices[i], Side::peer)) (*links)[i]->want(peer->wanted(), peer->sends());
  return links;
}

std::unique_ptr<Protocol> make_protocol(const DeviceSpec& device, Side side) {
  const auto* kind = find_protocol(device.protocol);
  if (kind != nullptr) return kind->make(device.protocol.value, side);
  std::fprintf(stderr, "trackrod: device '%s': no protocol is called '%s'\n", device.name.c_str(),
               device.protocol.kind.c_str());
  std::abort();
}

std::vector<std::string> identity_names(const Chosen& protocol) {
  std::vector<std::string> names;
  const auto* kind = find_protocol(protocol);
  if (kind == nullptr) return names;
  const auto made = kind->make(protocol.value, Side::bench);
  for (std::size_t i = 0; i < made->identity_items(); ++i) names.emplace_back(made->identity_item(i).name);
  return names;
}

}  // namespace trackrod
