#include "drivers/device/field_device.hpp"

#include <algorithm>
#include <cerrno>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <limits>
#include <utility>

namespace trackrod {
namespace {

FieldIndex field_of(const Protocol& protocol, const SignalSpec& signal) {
  const auto& fields = protocol.fields();
  const auto at = std::find_if(fields.begin(), fields.end(), [&](const auto& f) { return f.name == signal.field; });
  if (at == fields.end()) {
    std::fprintf(stderr, "trackrod: signal '%s' names the field '%s', which its device does not have\n",
                 signal.info.name.c_str(), signal.field.c_str());
    std::abort();
  }
  return static_cast<FieldIndex>(at - fields.begin());
}

std::uint32_t saturated_ns(Duration d) {
  constexpr Duration::rep most = std::numeric_limits<std::uint32_t>::max();
  return static_cast<std::uint32_t>(std::clamp<Duration::rep>(d.count(), 0, most));
}

Sent worse(Sent a, Sent b) { return std::max(a, b); }
static_assert(Sent::nothing_due < Sent::sent && Sent::sent < Sent::would_block && Sent::would_block < Sent::failed);

}  // namespace

// Turns the fields that the protocol finds into samples of the signals that are fed by them.
class FieldDevice::Mapper final : public FieldSink {
 public:
  Mapper(const FieldDevice& device, SampleSink& samples) : device_{device}, samples_{samples} {}

  void field(FieldIndex field, double value, Stamp stamp) noexcept override {
    for (std::size_t i = device_.first_read_[field]; i < device_.first_read_[field + 1U]; ++i) {
      const auto& m = device_.reads_[i];
      const bool none = m.no_value && value == *m.no_value;
      samples_.put({stamp.when, none ? std::nan("") : m.gain * value + m.offset, saturated_ns(stamp.uncertainty),
                    m.signal, stamp.by});
    }
  }

 private:
  const FieldDevice& device_;
  SampleSink& samples_;
};

FieldDevice::FieldDevice(const Bench& bench, std::size_t index, Link& link, std::unique_ptr<Protocol> protocol,
                         Carries carries)
    : link_{link}, protocol_{std::move(protocol)}, figures_{bench, index} {
  if (carries == Carries::can_frames) bus_.emplace();
  std::size_t points = 0;
  for (const auto& s : bench.signals)
    if (s.device == index && s.list) points = std::max(points, s.list->points);
  list_.reserve(points);
  for (std::size_t i = 0; i < bench.signals.size(); ++i) {
    const auto& s = bench.signals[i];
    if (s.device != index || is_link_field(s.field)) continue;
    auto& list = s.info.direction == Direction::read ? reads_ : drives_;
    list.push_back({static_cast<SignalIndex>(i), field_of(*protocol_, s), s.gain, s.offset, s.no_value});
  }
  for (const auto& fault : bench.faults)
    if (const auto* of_messages = std::get_if<MessageFault>(&fault.way); of_messages && of_messages->device == index)
      protocol_->expect(*of_messages);
  std::stable_sort(reads_.begin(), reads_.end(), [](const auto& a, const auto& b) { return a.field < b.field; });
  for (std::size_t f = 0; f <= protocol_->fields().size(); ++f) {
    const auto at = std::find_if(reads_.begin(), reads_.end(), [&](const auto& m) { return m.field >= f; });
    first_read_.push_back(static_cast<std::size_t>(at - reads_.begin()));
  }
}

void FieldDevice::arrived(std::span<const std::byte> bytes, Stamp stamp, SampleSink& samples) noexcept {
  if (bus_ && bus_->take(bytes, stamp.when)) return;
  Mapper mapper{*this, samples};
  if (protocol_->on_bytes(bytes, stamp, mapper)) last_heard_ = stamp.when;
}

void FieldDevice::look(BenchTime now, SampleSink& samples) noexcept {
  Mapper mapper{*this, samples};
  if (const auto heard = protocol_->on_quiet(now, mapper)) last_heard_ = *heard;
  figures_.look(now, last_heard_, link_.counters(), protocol_->counters(), samples);
}

std::string_view FieldDevice::identity(std::string_view name) const noexcept {
  for (std::size_t i = 0; i < protocol_->identity_items(); ++i)
    if (const auto item = protocol_->identity_item(i); item.name == name) return item.text;
  return {};
}

void FieldDevice::tell(AccountSink& account) const noexcept {
  for (std::size_t i = 0; i < protocol_->identity_items(); ++i)
    if (const auto [name, text] = protocol_->identity_item(i); !text.empty()) account.identity(name, text);
  const auto faults = protocol_->faults();
  if (!faults) return;
  account.fault_memory();
  for (const auto& entry : *faults) account.fault(entry);
}

std::uint32_t FieldDevice::take_message() noexcept {
  const auto of_bus = bus_ ? bus_->take_message() : 0;
  bus_spoke_ = of_bus != 0;
  return bus_spoke_ ? of_bus : protocol_->take_message();
}

std::string FieldDevice::describe_message(std::uint32_t code) const {
  auto words = bus_ ? can_message_words(code) : "";
  return words.empty() ? protocol_->describe_message(code) : words;
}

const FieldDevice::Mapping* FieldDevice::driven(SignalIndex signal) const noexcept {
  const auto at = std::lower_bound(drives_.begin(), drives_.end(), signal,
                                   [](const Mapping& m, SignalIndex wanted) { return m.signal < wanted; });
  return at != drives_.end() && at->signal == signal ? &*at : nullptr;
}

bool FieldDevice::set(SignalIndex signal, double value) noexcept {
  const auto* m = driven(signal);
  if (m == nullptr) return false;
  const double field_value = (value - m->offset) / m->gain;
  if (!std::isfinite(field_value)) return false;
  protocol_->set(m->field, field_value);
  return true;
}

bool FieldDevice::prepare_list(SignalIndex signal, std::span<const ListPoint> points) noexcept {
  const auto* m = driven(signal);
  if (m == nullptr || points.size() > list_.capacity()) return false;
  list_.clear();
  for (const auto& p : points) list_.push_back({(p.value - m->offset) / m->gain, p.dwell});
  return protocol_->prepare_list(m->field, list_);
}

bool FieldDevice::start_list(SignalIndex signal) noexcept {
  const auto* m = driven(signal);
  return m != nullptr && protocol_->start_list(m->field);
}

bool FieldDevice::settled(SignalIndex signal) const noexcept {
  const auto* m = driven(signal);
  return m != nullptr && protocol_->settled(m->field);
}

Sent FieldDevice::transmit(BenchTime now) noexcept {
  auto worst = send_rest(now);
  while (rest_size_ == 0 && worst < Sent::would_block) {
    const auto message = protocol_->due(now);
    if (message.empty()) break;
    if (message.size() > rest_.size()) {
      last_error_ = EMSGSIZE;
      return Sent::failed;
    }
    keep(message);
    worst = worse(worst, send_rest(now));
  }
  return worst;
}

Sent FieldDevice::send_rest(BenchTime now) noexcept {
  if (rest_size_ == 0) return Sent::nothing_due;
  const auto result = link_.send(std::span{rest_}.subspan(rest_from_, rest_size_), now);
  if (result.state == SendState::would_block) {
    rest_from_ += result.taken;
    rest_size_ -= result.taken;
    last_error_ = result.error != 0 ? result.error : EAGAIN;
    return Sent::would_block;
  }
  rest_size_ = 0;
  if (result.state == SendState::sent) return Sent::sent;
  last_error_ = result.error != 0 ? result.error : EPIPE;
  return Sent::failed;
}

void FieldDevice::keep(std::span<const std::byte> message) noexcept {
  rest_from_ = 0;
  rest_size_ = message.size();
  std::ranges::copy(message, rest_.begin());
}

void FieldDevice::remember(ProtocolMemory& memory) const noexcept {
  protocol_->save(memory.words);
  memory.rest_size = 0;
  if (!protocol_->needs_its_rest() || rest_from_ == 0 || rest_size_ > memory.rest.size()) return;
  std::memcpy(memory.rest.data(), rest_.data() + rest_from_, rest_size_);
  memory.rest_size = static_cast<std::uint32_t>(rest_size_);
}

void FieldDevice::take_over(const ProtocolMemory& memory) noexcept {
  link_.drop_queued_output();
  keep(memory.rest_size > 0 ? std::span{memory.rest}.first(memory.rest_size) : protocol_->terminator());
  protocol_->load(memory.words);
}

}  // namespace trackrod
