#pragma once
// The bench's end of IEEE 488.2 / SCPI-1999: sets values and reads them back, reads the error queue after each command,
// asks for readings in between. A state machine over time: one question at a time, each with its time-out.
//
// Order: values that have to be sent, then what is owed after a command (read-back, error queue), then readings. So a
// new value waits for no more than the answer, or the time-out, of the question now open.

#include <array>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "drivers/protocol/protocol.hpp"
#include "drivers/protocol/scpi_list.hpp"
#include "drivers/protocol/scpi_settings.hpp"
#include "drivers/protocol/scpi_target.hpp"
#include "drivers/protocol/scpi_text.hpp"

namespace trackrod {

// What take_message() gives besides the instrument's own codes. Those are -32768 to 32767 in SCPI; a negative one comes
// as two's complement: static_cast<std::int32_t>(message) is the code again.
enum ScpiMessage : std::uint32_t {
  scpi_no_answer = 100001,          // a question was not answered in time
  scpi_read_back_differs = 100002,  // a value was set, and another one read back
  scpi_wrong_instrument = 100003    // the answer to *IDN? is not that of the instrument in the bench file
};

class Scpi final : public Protocol {
 public:
  explicit Scpi(const ScpiSettings& settings);

  const std::vector<FieldInfo>& fields() const noexcept override { return fields_; }
  bool on_bytes(std::span<const std::byte> bytes, Stamp stamp, FieldSink& sink) noexcept override;
  void set(FieldIndex field, double value) noexcept override;
  bool prepare_list(FieldIndex field, std::span<const ListPoint> points) noexcept override;
  bool start_list(FieldIndex field) noexcept override;
  std::span<const std::byte> due(BenchTime now) noexcept override;
  bool settled(FieldIndex field) const noexcept override;
  std::uint32_t take_message() noexcept override;
  const ProtocolCounters& counters() const noexcept override { return counters_; }
  // "maker", "model", "serial", "firmware": the four fields of the answer to *IDN? (IEEE 488.2, 10.14).
  std::size_t identity_items() const noexcept override;
  IdentityItem identity_item(std::size_t item) const noexcept override;
  // Whether the instrument was identified. Everything else starts anew after a take-over.
  void save(std::span<std::uint32_t> words) const noexcept override;
  void load(std::span<const std::uint32_t> words) noexcept override;
  // Makes of a half-sent line one that the instrument refuses: closed as it stands, "VOLT 13" of "VOLT 13.5" would be
  // carried out. IEEE 488.2 (6.1.6.1) has a message with an invalid character refused as a command error.
  std::span<const std::byte> terminator() const noexcept override { return std::as_bytes(std::span{cut_off_}); }

 private:
  struct Reading {
    std::string query;
    Duration every{};
    std::optional<BlockItem> block;
    BenchTime next{};
    bool started{false};

    std::optional<double> value_in(std::string_view answer) const noexcept;
  };
  enum class Question : std::uint8_t { none, identity, errors, read_back, reading };

  bool expects_block() const noexcept;
  std::span<const std::byte> write(ScpiTarget& target);
  std::span<const std::byte> send(std::string_view command);
  std::span<const std::byte> lists_due();
  void end_lists();
  ScpiValueList* list_of(FieldIndex field) noexcept { return field < lists_.size() ? lists_[field].get() : nullptr; }
  std::span<const std::byte> ask(Question question, std::size_t index, std::string_view text, BenchTime now);
  std::span<const std::byte> ask_what_is_owed(BenchTime now);
  std::span<const std::byte> ask_reading(BenchTime now, bool only_starved);
  bool answered(std::string_view line, Stamp stamp, FieldSink& sink);
  bool take_identity(std::string_view line, BenchTime now);
  void take_error(int code, BenchTime now);
  void take_read_back(ScpiTarget& target, double value, BenchTime now);
  void no_answer();
  void tell(std::uint32_t message);

  std::vector<FieldInfo> fields_;
  std::vector<ScpiTarget> targets_;                    // FieldIndex 0 ..
  std::vector<std::unique_ptr<ScpiValueList>> lists_;  // by target; null: it runs none
  std::vector<Reading> readings_;                      // .. then these
  std::string identify_, error_query_, line_end_, cut_off_;
  std::string identity_;  // answer to *IDN?
  Duration timeout_;

  Question open_{Question::none};
  std::size_t open_index_{0};
  BenchTime asked_{};
  Question last_{Question::none};
  std::size_t next_read_back_{0};  // place in targets_ to look from, so that each has its turn
  bool identified_;                // or anything goes
  bool asks_identity_{true};  // not yet told; asked when nothing else is owed, unless it decides what is done at all
  bool cut_off_sent_{false};  // the command error that it leaves in the queue says nothing of the instrument
  BenchTime identify_not_before_{};
  // Answers to earlier questions may still come. Only entries of the error queue are believed then, whose form no other
  // answer has, so a late number is never taken for another one's.
  bool out_of_step_{true};
  bool owes_errors_{true};
  unsigned errors_in_a_row_{0};

  std::string out_;
  LineReader lines_;
  std::array<std::uint32_t, 8> messages_{};
  std::size_t message_count_{0};
  ProtocolCounters counters_;
};

}  // namespace trackrod
