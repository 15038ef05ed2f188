#include "drivers/protocol/scpi_target.hpp"

#include <algorithm>
#include <cmath>

#include "drivers/protocol/scpi_text.hpp"

namespace trackrod {

ScpiTarget::ScpiTarget(const ScpiSetting& setting)
    : tolerance_{setting.tolerance.value_or(setting.step()) * (1.0 + 1e-9)},  // 0.1 + 0.2 is within 0.1 of 0.2
      digits_{setting.digits} {
  const auto& text = setting.write.value;
  const auto gap = text.find("{}");
  before_ = text.substr(0, gap);
  after_ = text.substr(gap + 2);
  if (setting.read_back) read_back_ = setting.read_back->value;
}

ScpiTarget::ScpiTarget(const ScpiRelay& relay) {
  const auto ways = relay.each_way();
  for (std::size_t value = 0; value <= ways.size(); ++value) {
    auto& moves = moves_.emplace_back();
    const auto move = [&](const Located<std::string>& header, const std::string& channels, double answer) {
      if (!channels.empty()) moves.push_back({scpi_route(header, channels), scpi_route(relay.query, channels), answer});
    };
    move(relay.open, relay.channels_but(value), 0.0);
    if (value > 0) move(relay.close, ways[value - 1].value, 1.0);
  }
}

std::size_t ScpiTarget::longest_message() const noexcept {
  auto longest = std::max(before_.size() + after_.size(), read_back_.size());
  for (const auto& moves : moves_)
    for (const auto& move : moves) longest = std::max({longest, move.write.size(), move.read_back.size()});
  return longest;
}

bool ScpiTarget::want(double value, bool& beyond) noexcept {
  const double least = is_relay() ? 0.0 : -largest_number;
  const double most = is_relay() ? static_cast<double>(moves_.size() - 1) : largest_number;
  const double asked = rounded(value, digits_);
  beyond = asked < least || asked > most;
  const double wanted = std::clamp(asked, least, most);
  if (has_value_ && wanted == wanted_) return false;
  wanted_ = wanted;
  has_value_ = true;
  try_again(BenchTime{});
  return true;
}

bool ScpiTarget::wants(double value) const noexcept { return has_value_ && rounded(value, digits_) == wanted_; }

void ScpiTarget::try_again(BenchTime from) noexcept {
  move_ = 0;
  unsent = true;
  owes_read_back = false;
  not_before = from;
}

void ScpiTarget::write(std::string& out) noexcept {
  unsent = false;
  clean = false;
  agreed_ = read_back().empty();
  owes_read_back = !agreed_;
  if (is_relay()) {
    out = moves()[move_].write;
  } else {
    out = before_;
    append_number(out, wanted_, digits_);
    out += after_;
  }
}

std::string_view ScpiTarget::read_back() const noexcept { return is_relay() ? moves()[move_].read_back : read_back_; }

std::optional<double> ScpiTarget::value_in(std::string_view answer) const noexcept {
  return is_relay() ? read_same_numbers(answer) : read_number(answer);
}

bool ScpiTarget::take_read_back(double value) noexcept {
  owes_read_back = false;
  if (unsent) return true;  // another value is wanted by now
  const double expected = is_relay() ? moves()[move_].answer : wanted_;
  agreed_ = std::abs(value - expected) <= tolerance_;
  if (agreed_ && is_relay() && move_ + 1 < moves().size()) {
    ++move_;
    unsent = true;
  }
  return agreed_;
}

void ScpiTarget::doubt() noexcept {
  owes_read_back = has_value_ && !unsent && !read_back().empty();
  agreed_ = read_back().empty();
}

}  // namespace trackrod
