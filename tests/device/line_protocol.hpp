#pragma once
// A small line protocol for tests of devices: "volt=13.5\n" both ways. Field 0 "angle" and 1 "state" are read, 2 "volt"
// and 3 "mode" are driven; a line is sent for each driven value that was set since.

#include <array>
#include <charconv>
#include <cstdio>
#include <cstring>
#include <string>
#include <vector>

#include "drivers/protocol/protocol.hpp"

namespace trackrod {

class LineProtocol final : public Protocol {
 public:
  const std::vector<FieldInfo>& fields() const noexcept override { return fields_; }

  bool on_bytes(std::span<const std::byte> bytes, Stamp stamp, FieldSink& sink) noexcept override {
    bool any = false;
    for (const auto b : bytes) {
      if (static_cast<char>(b) != '\n') {
        if (held_size_ < held_.size()) held_[held_size_++] = static_cast<char>(b);
        continue;
      }
      any = on_line({held_.data(), held_size_}, stamp, sink) || any;
      held_size_ = 0;
    }
    return any;
  }

  void set(FieldIndex field, double value) noexcept override {
    values_[field] = value;
    fresh_[field] = true;
  }

  std::span<const std::byte> due(BenchTime) noexcept override {
    for (std::size_t f = 2; f < 4; ++f) {
      if (!fresh_[f]) continue;
      fresh_[f] = false;
      const int size =
          std::snprintf(line_.data(), line_.size(), "%s=%g#%u\n", fields_[f].name.c_str(), values_[f], ++alive_);
      return std::as_bytes(std::span{line_}.first(static_cast<std::size_t>(size)));
    }
    return {};
  }

  bool settled(FieldIndex field) const noexcept override { return !fresh_[field]; }
  std::uint32_t take_message() noexcept override { return std::exchange(message_, 0U); }
  const ProtocolCounters& counters() const noexcept override { return counters_; }
  void save(std::span<std::uint32_t> words) const noexcept override { words[0] = alive_; }
  void load(std::span<const std::uint32_t> words) noexcept override { alive_ = words[0]; }
  std::span<const std::byte> terminator() const noexcept override { return std::as_bytes(std::span{"\n", 1}); }

 private:
  bool on_line(std::string_view line, Stamp stamp, FieldSink& sink) noexcept {
    for (FieldIndex f = 0; f < 2; ++f) {
      const auto& name = fields_[f].name;
      double value{};
      if (line.starts_with(name) && line.size() > name.size() + 1 && line[name.size()] == '=' &&
          std::from_chars(line.data() + name.size() + 1, line.data() + line.size(), value).ec == std::errc{}) {
        ++counters_.good;
        sink.field(f, value, stamp);
        return true;
      }
    }
    if (line == "error") message_ = 113;
    ++counters_.bad_length;
    return false;
  }

  std::vector<FieldInfo> fields_{
      {"angle", true, false}, {"state", true, false}, {"volt", false, true}, {"mode", false, true}};
  std::array<double, 4> values_{};
  std::array<bool, 4> fresh_{};
  std::array<char, 64> held_{}, line_{};
  std::size_t held_size_{0};
  std::uint32_t alive_{0}, message_{0};
  ProtocolCounters counters_;
};

}  // namespace trackrod
