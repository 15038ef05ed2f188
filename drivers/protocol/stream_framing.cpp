#include "drivers/protocol/stream_framing.hpp"

#include <algorithm>
#include <cctype>
#include <nlohmann/json.hpp>

namespace trackrod {
namespace {

using namespace std::chrono_literals;

constexpr std::size_t longest_delimiter = 4;

// "0D 0A"
Shape<std::vector<std::byte>> hex_bytes(std::size_t most) {
  return {
      [most](const Node& n, std::vector<std::byte>& out, Problems& p) {
        const auto digit = [](char c) {
          return std::isdigit(static_cast<unsigned char>(c)) ? c - '0'
                                                             : std::toupper(static_cast<unsigned char>(c)) - 'A' + 10;
        };
        bool good = n.kind == Node::Kind::text && n.text.size() % 3 == 2 && n.text.size() / 3 < most;
        for (std::size_t i = 0; good && i < n.text.size(); ++i)
          good = i % 3 == 2 ? n.text[i] == ' ' : std::isxdigit(static_cast<unsigned char>(n.text[i])) != 0;
        if (!good) {
          p.add(n.at, "found " + n.shown(),
                "1 to " + std::to_string(most) + " bytes as hexadecimal numbers, as in \"0D 0A\"");
          return false;
        }
        for (std::size_t i = 0; i < n.text.size(); i += 3)
          out.push_back(static_cast<std::byte>(digit(n.text[i]) * 16 + digit(n.text[i + 1])));
        return true;
      },
      [most](SchemaBook&) {
        return std::make_shared<nlohmann::json>(nlohmann::json{
            {"type", "string"}, {"pattern", "^[0-9A-Fa-f]{2}( [0-9A-Fa-f]{2}){0," + std::to_string(most - 1) + "}$"}});
      }};
}

const Fields<LengthFraming>& length_fields() {
  static const auto fields =
      Fields<LengthFraming>{"length", "Each message says how long it is"}
          .may("start", &LengthFraming::start, hex_bytes(8), "bytes that each message begins with, as \"AA 55\"")
          .need("at", &LengthFraming::at, integer<int>(0, 255), "first byte of the length")
          .may("bytes", &LengthFraming::bytes, integer<int>(1, 2), "bytes of the length (default 1)")
          .may("order", &LengthFraming::order,
               choice<ByteOrder>({{"little", ByteOrder::little}, {"big", ByteOrder::big}}),
               "their order (default: little)")
          .may("adds", &LengthFraming::adds, integer<int>(-255, 255),
               "whole length of a message = number in it + this (default 0)");
  return fields;
}

const Fields<DelimiterFraming>& delimiter_fields() {
  static const auto fields =
      Fields<DelimiterFraming>{"delimiter", "Each message ends with bytes that stand nowhere else in it"}.need(
          "delimiter", &DelimiterFraming::delimiter, hex_bytes(longest_delimiter), "these bytes, as \"0D 0A\"");
  return fields;
}

const Fields<IdleGapFraming>& idle_gap_fields() {
  static const auto fields =
      Fields<IdleGapFraming>{"idle_gap", "Each message ends with silence"}
          .need("gap", &IdleGapFraming::gap, duration(100us, 1s),
                "silence that ends a message; longer than the adapter's latency and a tick of the loop")
          .may("spacing", &IdleGapFraming::spacing, duration(0s, 1s),
               "least time from the beginning of a sent message to the next: its time on the wire and the gap");
  return fields;
}

const std::vector<KindEntry>& kinds() {
  static const std::vector<KindEntry> all{kind("length", length_fields), kind("delimiter", delimiter_fields),
                                          kind("idle_gap", idle_gap_fields)};
  return all;
}

template <class T>
bool take(const Chosen& chosen, Framing& out) {
  const auto* value = std::any_cast<T>(&chosen.value);
  if (value != nullptr) out = *value;
  return value != nullptr;
}

}  // namespace

Shape<Framing> framing_shape() {
  return {[](const Node& n, Framing& out, Problems& p) {
            Chosen chosen;
            return read_kind(n, "by", kinds(), chosen, p) &&
                   (take<LengthFraming>(chosen, out) || take<DelimiterFraming>(chosen, out) ||
                    take<IdleGapFraming>(chosen, out));
          },
          [](SchemaBook& book) { return kinds_schema(book, "by", kinds()); }};
}

StreamFramer::StreamFramer(const Framing& framing, std::size_t longest)
    : framing_{framing}, longest_{longest}, kept_(2 * longest + longest_delimiter) {}

void StreamFramer::take(std::span<const std::byte> bytes, Stamp stamp, MessageSink& sink) noexcept {
  if (std::holds_alternative<LengthFraming>(framing_)) return take_by_length(bytes, stamp, sink);
  if (const auto* idle = std::get_if<IdleGapFraming>(&framing_)) {
    // Bytes may have come long before they were read: only silence that is certain ends a message.
    const bool silence = stamp.when - stamp.uncertainty - last_.when >= idle->gap;
    if (silence && !bytes.empty()) end(size_, sink);
    for (const auto b : bytes) keep(b);
    last_ = stamp;
    return;
  }
  for (const auto b : bytes) take_by_delimiter(b, stamp, sink);
}

void StreamFramer::quiet(BenchTime now, MessageSink& sink) noexcept {
  if (const auto* idle = std::get_if<IdleGapFraming>(&framing_))
    if (now - last_.when >= idle->gap) end(size_, sink);
}

// Room is left for a delimiter behind the longest message.
void StreamFramer::keep(std::byte b) noexcept {
  if (size_ < longest_ + longest_delimiter)
    kept_[size_++] = b;
  else
    too_long_ = true;
}

void StreamFramer::end(std::size_t size, MessageSink& sink) noexcept {
  if (too_long_ || size > longest_)
    sink.garbage();
  else if (size > 0)
    sink.message({kept_.data(), size}, last_);
  size_ = 0;
  too_long_ = false;
}

void StreamFramer::take_by_delimiter(std::byte b, Stamp stamp, MessageSink& sink) noexcept {
  const auto& delimiter = std::get<DelimiterFraming>(framing_).delimiter;
  last_ = stamp;
  keep(b);
  tail_ = tail_ << 8 | static_cast<std::uint32_t>(b);
  if (size_ < delimiter.size()) return;
  for (std::size_t i = 0; i < delimiter.size(); ++i)
    if (static_cast<std::byte>(tail_ >> 8 * (delimiter.size() - 1 - i)) != delimiter[i]) return;
  end(size_ - delimiter.size(), sink);
}

std::size_t StreamFramer::length_of(const LengthFraming& framing, std::span<const std::byte> bytes) const noexcept {
  for (std::size_t i = 0; i < framing.start.size(); ++i) {
    if (i == bytes.size()) return more;
    if (bytes[i] != framing.start[i]) return 0;
  }
  const auto at = static_cast<std::size_t>(framing.at), count = static_cast<std::size_t>(framing.bytes);
  if (bytes.size() < at + count) return more;
  int number = 0;
  for (std::size_t i = 0; i < count; ++i)
    number = number << 8 | std::to_integer<int>(bytes[framing.order == ByteOrder::big ? at + i : at + count - 1 - i]);
  const int whole = number + framing.adds;
  const auto least = std::max(at + count, framing.start.size());
  if (whole < static_cast<int>(least) || whole > static_cast<int>(longest_)) return 0;
  return static_cast<std::size_t>(whole);
}

// A rejected message may hold the beginning of a good one, so only one byte of it is skipped.
void StreamFramer::take_by_length(std::span<const std::byte> bytes, Stamp stamp, MessageSink& sink) noexcept {
  const auto& framing = std::get<LengthFraming>(framing_);
  while (!bytes.empty()) {
    const auto piece = std::min(bytes.size(), kept_.size() - size_);
    std::copy_n(bytes.begin(), piece, kept_.begin() + static_cast<std::ptrdiff_t>(size_));
    size_ += piece;
    bytes = bytes.subspan(piece);
    std::size_t done = 0;
    while (done < size_) {
      const auto rest = std::span<const std::byte>{kept_}.subspan(done, size_ - done);
      const auto whole = length_of(framing, rest);
      if (whole == more || (whole != 0 && rest.size() < whole)) break;
      const bool good = whole != 0 && sink.message(rest.first(whole), stamp);
      if (whole == 0 && !std::exchange(skipping_, true)) sink.garbage();
      if (good) skipping_ = false;
      done += good ? whole : 1;
    }
    std::copy(kept_.begin() + static_cast<std::ptrdiff_t>(done), kept_.begin() + static_cast<std::ptrdiff_t>(size_),
              kept_.begin());
    size_ -= done;
  }
}

}  // namespace trackrod
