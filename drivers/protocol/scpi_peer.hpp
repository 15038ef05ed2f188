#pragma once
// The instrument's end of SCPI, made from the same settings: takes what is set, answers with what it was told to
// measure, and keeps an error queue. The simulated bench speaks with it.

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "drivers/protocol/protocol.hpp"
#include "drivers/protocol/scpi_settings.hpp"
#include "drivers/protocol/scpi_text.hpp"

namespace trackrod {

class ScpiPeer final : public Protocol {
 public:
  explicit ScpiPeer(const ScpiSettings& settings);

  // As the bench's fields, the other way round: settings are read here, readings are driven.
  const std::vector<FieldInfo>& fields() const noexcept override { return fields_; }
  // True when a command or query was understood.
  bool on_bytes(std::span<const std::byte> bytes, Stamp stamp, FieldSink& sink) noexcept override;
  // What a reading's query is answered with. Before the first one, or when not finite: 9.91E37, "not a number".
  void set(FieldIndex field, double value) noexcept override;
  std::span<const std::byte> due(BenchTime now) noexcept override;
  bool settled(FieldIndex) const noexcept override { return true; }
  std::uint32_t take_message() noexcept override { return 0; }
  const ProtocolCounters& counters() const noexcept override { return counters_; }
  void save(std::span<std::uint32_t>) const noexcept override {}  // the simulated bench hands nothing over
  void load(std::span<const std::uint32_t>) noexcept override {}
  std::span<const std::byte> terminator() const noexcept override { return std::as_bytes(std::span{line_end_}); }

 private:
  struct Setting {
    std::string before, after, read_back;
    int digits{0};
    double value{0.0};
  };
  struct Reading {
    std::string query;
    double value;
  };
  // 0, or the code of the error.
  int obey(std::string_view line, Stamp stamp, FieldSink& sink);
  int take_setting(std::string_view line, Stamp stamp, FieldSink& sink);
  bool answer(std::string_view query);
  void push_error(int code);
  void answer_error();

  std::vector<FieldInfo> fields_;
  std::vector<Setting> settings_;  // FieldIndex 0 ..
  std::vector<Reading> readings_;  // .. then these
  std::string identity_, error_query_, line_end_;
  LineReader lines_;
  std::string answers_, out_;  // waiting to be sent; being sent
  std::array<int, 16> errors_{};
  std::size_t error_count_{0};
  ProtocolCounters counters_;
};

}  // namespace trackrod
