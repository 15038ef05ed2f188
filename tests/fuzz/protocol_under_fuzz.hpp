#pragma once
// A protocol fed with arbitrary bytes. The fuzzed bytes are cut into steps: a length, then that many bytes that arrive;
// between two steps time goes on and values are set, so that the protocol's own side comes about too.

#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <map>
#include <memory>
#include <span>
#include <string>

#include "drivers/protocol/protocol.hpp"

namespace trackrod::fuzz {

// Ends the program, which the fuzzer takes for a finding.
inline void require(bool holds, const char* what) {
  if (holds) return;
  std::fprintf(stderr, "broken promise: %s\n", what);
  std::abort();
}

class FieldsWithin final : public FieldSink {
 public:
  explicit FieldsWithin(const Protocol& protocol) : protocol_{protocol} {}
  void field(FieldIndex field, double, Stamp) noexcept override {
    require(field < protocol_.fields().size(), "a field that the protocol does not have");
    require(protocol_.fields()[field].readable, "a value of a field that is not read");
  }

 private:
  const Protocol& protocol_;
};

// Settings are read once, however often they are used.
inline std::unique_ptr<Protocol> make(const std::string& settings, Side side = Side::bench) {
  static std::map<std::string, Chosen> known;
  auto at = known.find(settings);
  if (at == known.end()) {
    Problems problems;
    Chosen chosen;
    const auto node = parse_json(settings, "fuzz", problems);
    std::vector<KindEntry> kinds;
    for (const auto& k : protocol_table()) kinds.push_back(k.entry.settings);
    require(node != nullptr && read_kind(*node, "kind", kinds, chosen, problems), "settings of the fuzz target");
    for (const auto& k : protocol_table())
      if (k.entry.settings.name == chosen.kind) k.entry.fields(chosen.value, problems);
    require(problems.none(), "settings of the fuzz target make sense");
    at = known.emplace(settings, chosen).first;
  }
  for (const auto& k : protocol_table())
    if (k.entry.settings.name == at->second.kind) return k.make(at->second.value, side);
  return nullptr;
}

inline void feed(Protocol& protocol, std::span<const std::byte> bytes) {
  FieldsWithin sink{protocol};
  std::array<std::uint32_t, 24> memory{};
  BenchTime now{std::chrono::seconds{1}};
  while (!bytes.empty()) {
    const auto head = std::to_integer<std::size_t>(bytes[0]);
    bytes = bytes.subspan(1);
    const auto piece = bytes.first(std::min(head & 0x7F, bytes.size()));
    bytes = bytes.subspan(piece.size());
    const auto counted = [&] { return protocol.counters().good + protocol.counters().reordered; };
    const auto before = counted();
    const bool taken = protocol.on_bytes(piece, {now, StampedBy::kernel, {}}, sink);
    require(!taken || counted() > before, "a message that was taken is counted");
    now += std::chrono::microseconds{(head & 0x80) != 0 ? 30000 : 500};
    protocol.on_quiet(now, sink);
    for (std::size_t f = 0; f < protocol.fields().size(); ++f)
      protocol.set(static_cast<FieldIndex>(f), head % 5 == 0 ? std::nan("") : static_cast<double>(head) - 60.0);
    if (head % 16 == 3) protocol.inspect();
    for (int i = 0; i < 20 && !protocol.due(now).empty(); ++i) {
    }
    if (const auto message = protocol.take_message(); message != 0)
      require(protocol.describe_message(message).size() < 1000, "a message that people can read");
    protocol.save(memory);
  }
  protocol.identity();
  if (const auto faults = protocol.faults())
    for (const auto& fault : *faults) require(fault.code <= 0xFFFFFF, "a trouble code of three bytes");
  protocol.load(memory);
  for (int i = 0; i < 20 && !protocol.due(now).empty(); ++i) {
  }
}

}  // namespace trackrod::fuzz

// The entry point of a fuzz target is a line of C linkage in its file.
#define TRACKROD_FUZZ(data)                                                            \
  static void fuzz_one(std::span<const std::byte> data);                               \
  extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* bytes, std::size_t size) { \
    fuzz_one(std::as_bytes(std::span{bytes, size}));                                   \
    return 0;                                                                          \
  }                                                                                    \
  static void fuzz_one(std::span<const std::byte> data)
