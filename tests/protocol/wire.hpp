#pragma once
// Helpers: protocols from the text of a bench file, and a sink that keeps what it was given.

#include <cstddef>
#include <cstdint>
#include <initializer_list>
#include <map>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "drivers/protocol/protocol.hpp"
#include "tests/catch.hpp"

namespace trackrod::testing {

using Bytes = std::vector<std::byte>;

inline Bytes bytes(std::initializer_list<int> values) {
  Bytes b;
  for (const int v : values) b.push_back(static_cast<std::byte>(v));
  return b;
}
inline Bytes bytes(const std::string& text) {
  const auto all = std::as_bytes(std::span{text});
  return {all.begin(), all.end()};
}
inline Bytes copy(std::span<const std::byte> b) { return {b.begin(), b.end()}; }
inline std::string as_text(std::span<const std::byte> b) { return {reinterpret_cast<const char*>(b.data()), b.size()}; }

// Reads settings as a bench file's reader does. Problems go to `problems`.
inline std::vector<FieldInfo> read_settings(const std::string& text, Chosen& chosen, Problems& problems) {
  const auto node = parse_json(text, "test.json", problems);
  REQUIRE(node != nullptr);
  std::vector<KindEntry> kinds;
  for (const auto& k : protocol_table()) kinds.push_back(k.entry.settings);
  if (!read_kind(*node, "kind", kinds, chosen, problems)) return {};
  for (const auto& k : protocol_table())
    if (k.entry.settings.name == chosen.kind) return k.entry.fields(chosen.value, problems);
  return {};
}

inline std::unique_ptr<Protocol> make(const std::string& text, Side side = Side::bench) {
  Chosen chosen;
  Problems problems;
  read_settings(text, chosen, problems);
  for (const auto& p : problems.sorted()) FAIL(p.sentence());
  for (const auto& k : protocol_table())
    if (k.entry.settings.name == chosen.kind) return k.make(chosen.value, side);
  FAIL("no such kind");
  return nullptr;
}

inline FieldIndex index(const Protocol& p, const std::string& name) {
  for (std::size_t i = 0; i < p.fields().size(); ++i)
    if (p.fields()[i].name == name) return static_cast<FieldIndex>(i);
  FAIL("no field '" << name << "'");
  return 0;
}

struct Taken {
  FieldIndex field;
  double value;
  Stamp stamp;
};
class KeptFields final : public FieldSink {
 public:
  void field(FieldIndex field, double value, Stamp stamp) noexcept override { all.push_back({field, value, stamp}); }
  std::vector<double> of(FieldIndex field) const {
    std::vector<double> values;
    for (const auto& t : all)
      if (t.field == field) values.push_back(t.value);
    return values;
  }
  std::vector<Taken> all;
};

// Takes fields and keeps only the last value, without allocating.
class LastField final : public FieldSink {
 public:
  void field(FieldIndex, double value, Stamp) noexcept override {
    last = value;
    ++count;
  }
  double last{0.0};
  std::uint64_t count{0};
};

inline BenchTime at(Duration since_start) { return BenchTime{since_start}; }
inline Stamp stamp(Duration since_start) { return {at(since_start), StampedBy::kernel, Duration{}}; }

}  // namespace trackrod::testing
