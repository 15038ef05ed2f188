#include "drivers/protocol/tampering.hpp"

#include <algorithm>

namespace trackrod {

void Tampering::expect(const MessageFault& fault, std::size_t length, Duration apart) {
  using K = MessageFault::Kind;
  if (fault.kind == K::held_back) {
    const auto most = static_cast<std::size_t>(fault.time / apart) + 2;
    while (held_.size() < most) held_.push_back({std::vector<std::byte>(length), 0, {}});
  }
  const auto longer = fault.kind == K::wrong_length ? static_cast<std::size_t>(std::max(0, fault.step)) : 0;
  if (fault.kind == K::repeated || fault.kind == K::wrong_length) kept_.resize(std::max(kept_.size(), length + longer));
}

void Tampering::begin(const MessageFault& fault, std::uint32_t before, BenchTime last) noexcept {
  there_ = true;
  fault_ = fault;
  account_ = {};
  first_held_ = held_count_ = kept_size_ = 0;
  left_ = 0;
  counter = before;
  next_beat_ = fault.kind == MessageFault::Kind::wrong_cycle && last != BenchTime{} ? last + fault.time : BenchTime{};
}

void Tampering::hold(std::span<const std::byte> message, BenchTime until) noexcept {
  if (held_count_ == held_.size()) return;
  auto& free = held_[(first_held_ + held_count_) % held_.size()];
  ++held_count_;
  free.size = std::min(message.size(), free.bytes.size());
  std::copy_n(message.begin(), free.size, free.bytes.begin());
  free.until = until;
}

std::span<const std::byte> Tampering::ripe(BenchTime now) noexcept {
  if (held_count_ == 0 || now < held_[first_held_].until) return {};
  const auto& oldest = held_[first_held_];
  first_held_ = (first_held_ + 1) % held_.size();
  --held_count_;
  return std::span{oldest.bytes}.first(oldest.size);
}

void Tampering::keep(std::span<const std::byte> message) noexcept {
  kept_size_ = std::min(message.size(), kept_.size());
  std::copy_n(message.begin(), kept_size_, kept_.begin());
  left_ = fault_.times;
}

std::span<const std::byte> Tampering::again() noexcept {
  if (left_ == 0) return {};
  --left_;
  return std::span{kept_}.first(kept_size_);
}

std::span<const std::byte> Tampering::resized(std::span<const std::byte> message) noexcept {
  const auto wanted = static_cast<std::size_t>(static_cast<std::ptrdiff_t>(message.size()) + fault_.step);
  kept_size_ = std::min(wanted, kept_.size());
  const auto from_message = std::min(message.size(), kept_size_);
  std::copy_n(message.begin(), from_message, kept_.begin());
  std::fill(kept_.begin() + static_cast<std::ptrdiff_t>(from_message), kept_.end(), std::byte{0});
  return std::span{kept_}.first(kept_size_);
}

bool Tampering::beats(BenchTime now) noexcept {
  if (now < next_beat_) return false;
  // Missed ones are left out, and the beat stays.
  if (next_beat_ == BenchTime{}) next_beat_ = now;
  next_beat_ += fault_.time * ((now - next_beat_) / fault_.time + 1);
  return true;
}

bool Tampering::babbles(BenchTime now) noexcept {
  if (beats(now)) left_ = fault_.times;
  if (left_ == 0) return false;
  --left_;
  return true;
}

}  // namespace trackrod
