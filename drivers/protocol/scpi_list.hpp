#pragma once
// A list of values that an instrument runs by itself, after the LIST subsystem of SCPI-1999 (volume 2, SOURce:LIST,
// from memory): the messages that hand it over, start it and end it, and how far it has got.

#include <optional>
#include <span>
#include <string>
#include <string_view>

#include "drivers/protocol/scpi_settings.hpp"
#include "harness/base/value_list.hpp"

namespace trackrod {

// Levels, dwells, count and mode are sent one after the other; with the error queue found empty after that it is ready.
// Nothing here allocates after construction.
class ScpiValueList {
 public:
  ScpiValueList(const ScpiList& list, int digits);

  // Takes the points; false when they are too many, or one is running.
  bool prepare(std::span<const ListPoint> points) noexcept;
  bool is_ready() const noexcept { return stage_ == Stage::ready; }
  bool is_running() const noexcept { return stage_ == Stage::running; }
  // Handed over, or about to be.
  bool is_prepared() const noexcept { return stage_ != Stage::none; }
  // It goes out next.
  void start() noexcept { start_asked_ = true; }
  // The instrument is brought back to plain values, whatever it does.
  void stop() noexcept;
  bool is_stopping() const noexcept { return to_stop_ > 0; }

  // The next message without its line end; empty: none is owed. One that was asked for counts as sent.
  std::string_view stopping() noexcept;
  std::string_view starting() noexcept;
  std::string_view preparing() noexcept;
  // The error queue was found empty, or not, since the last message.
  void found(bool clean) noexcept;
  std::size_t longest_message() const noexcept { return levels_.capacity(); }

 private:
  enum class Stage : std::uint8_t { none, levels, dwells, count, mode, asking, ready, running };
  std::string levels_head_, dwells_head_, count_, on_, off_, start_, abort_;
  std::string levels_, dwells_;
  std::size_t most_;
  int digits_;
  Stage stage_{Stage::none};
  bool start_asked_{false};
  int to_stop_{2};  // messages that stop it; what an instrument does before the first is not known
};

}  // namespace trackrod
