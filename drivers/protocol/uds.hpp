#pragma once
// The bench as a diagnostic tester (ISO 14229-1): fault memory, values and texts by identifier, session. One request at
// a time; one message is one datagram, as a link of kind "isotp" gives it.

#include <array>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "drivers/protocol/fault_memory.hpp"
#include "drivers/protocol/protocol.hpp"
#include "drivers/protocol/uds_settings.hpp"

namespace trackrod {

// What take_message() gives: of a new entry in the fault memory its status in the highest byte (never 0, since a bit
// counts) and its code below; of a negative response 0x10000 + 256 * service + code; or one of these.
enum UdsTold : std::uint32_t {
  uds_refused = 0x10000,
  uds_no_answer = 0x20001,
  uds_bit_not_supported = 0x20002  // the unit does not keep the status bit that counts
};

class Uds final : public Protocol {
 public:
  explicit Uds(const UdsSettings& settings);

  const std::vector<FieldInfo>& fields() const noexcept override { return fields_; }
  bool on_bytes(std::span<const std::byte> bytes, Stamp stamp, FieldSink& sink) noexcept override;
  void set(FieldIndex field, double value) noexcept override;
  std::span<const std::byte> due(BenchTime now) noexcept override;
  bool settled(FieldIndex field) const noexcept override;
  std::uint32_t take_message() noexcept override;
  Window message_window() const noexcept override { return taken_window_; }
  std::string describe_message(std::uint32_t message) const override;
  std::size_t identity_items() const noexcept override { return texts_.size(); }
  IdentityItem identity_item(std::size_t item) const noexcept override {
    return {texts_[item].name, texts_[item].text};
  }
  void inspect() noexcept override;
  bool inspected() const noexcept override { return !whole_owed_ && next_text_ >= texts_.size(); }
  std::optional<std::span<const FaultEntry>> faults() const noexcept override;
  const ProtocolCounters& counters() const noexcept override { return counters_; }
  // Nothing: a session is entered anew, and what is in the memory then counts as found at the first reading.
  void save(std::span<std::uint32_t>) const noexcept override {}
  void load(std::span<const std::uint32_t>) noexcept override {}
  std::span<const std::byte> terminator() const noexcept override { return {}; }

 private:
  enum class Question : std::uint8_t { none, session, clear, faults, value, identity, whole };
  struct Code {
    FieldIndex field{0};
    std::uint32_t code{0};
    std::string name;
  };
  struct Value {
    FieldIndex field{0};
    std::uint16_t id{0};
    BitSpan place;
    bool is_signed{false};
    double scale{1.0}, offset{0.0};
    Duration every{};
    BenchTime next{};
    bool refusal_told{false};  // since it was answered last
  };
  struct Text {
    std::string name, text;
    std::uint16_t id{0};
  };
  struct Told {
    std::uint32_t message{0};
    Window window;
  };

  std::span<const std::byte> ask(Question question, std::size_t index, std::initializer_list<unsigned> bytes,
                                 BenchTime now);
  std::span<const std::byte> ask_next(BenchTime now);
  bool answered(std::span<const std::byte> pdu, Stamp stamp, FieldSink& sink);
  bool take_session(std::span<const std::byte> pdu, BenchTime now);
  bool take_faults(std::span<const std::byte> pdu, Stamp stamp, FieldSink& sink);
  bool take_value(std::span<const std::byte> pdu, Stamp stamp, FieldSink& sink);
  bool take_whole(std::span<const std::byte> pdu);
  bool take_text(std::span<const std::byte> pdu);
  bool refused(std::span<const std::byte> pdu, BenchTime now);
  void no_answer(BenchTime now);
  void tell(std::uint32_t message, Window window = {});

  std::vector<FieldInfo> fields_;
  std::optional<unsigned> session_;
  Duration tester_present_, timeout_, pending_timeout_;

  bool reads_faults_{false};
  std::uint8_t counts_{0};  // mask of one bit
  Duration faults_every_{};
  BenchTime faults_next_{};
  bool fault_refusal_told_{false}, bit_told_{false};
  std::vector<Code> codes_;
  FaultMemory memory_;
  // When the memory may have been looked at first for the next answer: of the oldest reading that was not answered.
  std::optional<BenchTime> faults_asked_;

  std::optional<FieldIndex> clear_field_;
  bool clear_wanted_{false}, clear_owed_{false};
  BenchTime clear_not_before_{};

  std::vector<Value> values_;
  std::vector<Text> texts_;
  std::size_t next_text_{0};
  bool whole_owed_{false}, whole_read_{false};
  std::vector<FaultEntry> whole_;  // the memory as of the last inspection

  Question open_{Question::none}, last_{Question::none};
  std::size_t open_index_{0};
  BenchTime asked_{}, deadline_{}, give_up_{};
  bool started_{false};  // the times of what is read in cycles were set
  bool in_session_{false}, silence_told_{false};
  BenchTime session_not_before_{}, present_next_{};

  std::array<std::byte, 8> out_{};
  std::array<Told, 64> messages_{};  // a ring
  std::size_t first_message_{0}, message_count_{0};
  Window taken_window_;
  ProtocolCounters counters_;
};

}  // namespace trackrod
