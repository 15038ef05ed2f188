#pragma once
// A value on its way to an instrument: the messages that set it, the queries that prove it, and how far it has got.

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "drivers/protocol/scpi_settings.hpp"
#include "harness/base/time.hpp"

namespace trackrod {

// Of a relay a value takes one or two moves, each proven by the card's answer before the next: first the other ways are
// opened, then the wanted one is closed. So no two ways are ever closed together, unless the card answers falsely.
class ScpiTarget {
 public:
  explicit ScpiTarget(const ScpiSetting& setting);
  explicit ScpiTarget(const ScpiRelay& relay);

  // A finite value. False when it is what was wanted before. `beyond`: it is out of bounds, and the bound is wanted.
  bool want(double value, bool& beyond) noexcept;
  // The instrument no longer holds what was sent: the next value goes out even if it is the same.
  void forget() noexcept { has_value_ = false; }
  // Whether that is what is wanted already.
  bool wants(double value) const noexcept;
  // From the first move on, not before that time.
  void try_again(BenchTime not_before) noexcept;
  // The next message goes into `out`, without its line end, and counts as sent.
  void write(std::string& out) noexcept;
  // What it answers is compared by take_read_back(); empty where nothing can be asked.
  std::string_view read_back() const noexcept;
  std::optional<double> value_in(std::string_view answer) const noexcept;
  // False when another value was read back than was sent.
  bool take_read_back(double value) noexcept;
  // The instrument may have been off: what was sent is to be proven anew.
  void doubt() noexcept;
  bool settled() const noexcept { return has_value_ && !unsent && agreed_ && clean; }
  // Sent, and not yet known to be right.
  bool is_open() const noexcept { return has_value_ && !unsent && !(agreed_ && clean); }
  std::size_t longest_message() const noexcept;

  bool unsent{false};  // a message still has to go out, at `not_before` at the earliest
  bool owes_read_back{false};
  bool clean{false};  // the error queue was found empty since it was sent
  BenchTime not_before{};

 private:
  struct Move {
    std::string write, read_back;
    double answer{0.0};  // of each channel
  };
  bool is_relay() const noexcept { return !moves_.empty(); }
  const std::vector<Move>& moves() const noexcept { return moves_[static_cast<std::size_t>(wanted_)]; }

  std::string before_, after_;  // of the number in the command
  std::string read_back_;
  double tolerance_{0.0};
  int digits_{0};
  std::vector<std::vector<Move>> moves_;  // of a relay, by value

  double wanted_{0.0};  // as sent, rounded
  std::size_t move_{0};
  bool has_value_{false};
  bool agreed_{false};  // read back within the tolerance since it was sent
};

}  // namespace trackrod
