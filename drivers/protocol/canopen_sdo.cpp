#include "drivers/protocol/canopen_sdo.hpp"

#include <algorithm>

namespace trackrod {
namespace {

constexpr std::uint32_t toggle_not_alternated = 0x05030000, timed_out = 0x05040000, command_unknown = 0x05040001,
                        out_of_memory = 0x05040005, length_differs = 0x06070010, general_error = 0x08000000;
constexpr unsigned toggle_bit = 0x10;

// The first three bits of the first byte (CiA 301, command specifiers of client and server).
enum Command : unsigned {
  ask_write_segment = 0,
  ask_write = 1,
  ask_read = 2,
  ask_read_segment = 3,
  abort_command = 4,
  gives_segment = 0,
  took_segment = 1,
  gives_read = 2,
  took_write = 3
};

constexpr unsigned specifier(unsigned command) { return command >> 5; }

}  // namespace

void SdoClient::begin(Step step, ObjectAddress object) noexcept {
  step_ = step;
  object_ = object;
  toggle_ = last_ = false;
  done_ = announced_ = 0;
}

void SdoClient::request(unsigned command) noexcept {
  out_ = {};
  out_[0] = static_cast<std::byte>(command);
  unsent_ = true;
}

void SdoClient::read(ObjectAddress object) noexcept {
  begin(Step::ask_read, object);
  size_ = 0;
  request(ask_read << 5);
  write_little(std::span{out_}.subspan(1, 2), object.index);
  out_[3] = static_cast<std::byte>(object.sub);
}

void SdoClient::write(ObjectAddress object, std::span<const std::byte> value) noexcept {
  begin(Step::ask_write, object);
  size_ = std::min(value.size(), value_.size());
  std::copy_n(value.begin(), size_, value_.begin());
  const bool expedited = size_ <= 4;
  // Expedited: 2 bits for the bytes that are not used. Both say that a size is given.
  request(expedited ? ask_write << 5 | (4U - static_cast<unsigned>(size_)) << 2 | 3 : ask_write << 5 | 1);
  write_little(std::span{out_}.subspan(1, 2), object.index);
  out_[3] = static_cast<std::byte>(object.sub);
  if (expedited) {
    std::copy_n(value_.begin(), size_, out_.begin() + 4);
    done_ = size_;
  } else {
    write_little(std::span{out_}.subspan(4, 4), size_);
  }
}

void SdoClient::cancel() noexcept {
  put_abort(general_error);
  step_ = Step::idle;
  result_ = {};
}

std::span<const std::byte> SdoClient::due(BenchTime now) noexcept {
  if (unsent_) {
    unsent_ = false;
    asked_ = now;
    return out_;
  }
  if (step_ == Step::idle || now - asked_ < timeout_) return {};
  put_abort(timed_out);
  unsent_ = false;
  finish({SdoResult::Kind::no_answer, timed_out});
  return out_;
}

bool SdoClient::take(std::span<const std::byte> data) noexcept {
  if (data.size() != frame_size || step_ == Step::idle || unsent_) return false;
  const auto command = std::to_integer<unsigned>(data[0]);
  if (specifier(command) == abort_command) {
    if (!names_object(data)) return false;
    finish({SdoResult::Kind::aborted, static_cast<std::uint32_t>(read_little(data.subspan(4, 4)))});
    return true;
  }
  switch (step_) {
    case Step::ask_read:
      return take_read(command, data);
    case Step::read_segments:
      return take_read_segment(command, data);
    case Step::ask_write:
      return take_written(command, data);
    case Step::write_segments:
      return take_written_segment(command);
    case Step::idle:
      break;
  }
  return false;
}

bool SdoClient::take_read(unsigned command, std::span<const std::byte> data) noexcept {
  // Late answers name another object or are of another kind: the wait goes on.
  if (specifier(command) != gives_read || !names_object(data)) return false;
  const bool expedited = (command & 2) != 0, has_size = (command & 1) != 0;
  if (expedited) {
    size_ = has_size ? 4 - (command >> 2 & 3) : 4;
    std::copy_n(data.begin() + 4, size_, value_.begin());
    finish({SdoResult::Kind::read, 0});
    return true;
  }
  announced_ = has_size ? read_little(data.subspan(4, 4)) : 0;
  if (announced_ > value_.size()) {
    abort(out_of_memory);
    return true;
  }
  step_ = Step::read_segments;
  request(ask_read_segment << 5);
  return true;
}

bool SdoClient::take_read_segment(unsigned command, std::span<const std::byte> data) noexcept {
  if (specifier(command) != gives_segment) {
    abort(command_unknown);
    return true;
  }
  if (((command & toggle_bit) != 0) != toggle_) {
    abort(toggle_not_alternated);
    return true;
  }
  const std::size_t bytes = 7 - (command >> 1 & 7);
  if (size_ + bytes > value_.size()) {
    abort(out_of_memory);
    return true;
  }
  std::copy_n(data.begin() + 1, bytes, value_.begin() + static_cast<std::ptrdiff_t>(size_));
  size_ += bytes;
  if ((command & 1) == 0) {
    toggle_ = !toggle_;
    request(ask_read_segment << 5 | (toggle_ ? toggle_bit : 0));
  } else if (announced_ != 0 && announced_ != size_) {
    finish({SdoResult::Kind::aborted, length_differs});  // the device is done, so there is nothing to abort
  } else {
    finish({SdoResult::Kind::read, 0});
  }
  return true;
}

bool SdoClient::take_written(unsigned command, std::span<const std::byte> data) noexcept {
  if (specifier(command) != took_write || !names_object(data)) return false;
  if (done_ == size_) {
    finish({SdoResult::Kind::written, 0});
    return true;
  }
  step_ = Step::write_segments;
  next_segment();
  return true;
}

bool SdoClient::take_written_segment(unsigned command) noexcept {
  if (specifier(command) != took_segment) {
    abort(command_unknown);
    return true;
  }
  if (((command & toggle_bit) != 0) != toggle_) {
    abort(toggle_not_alternated);
    return true;
  }
  if (last_) {
    finish({SdoResult::Kind::written, 0});
    return true;
  }
  toggle_ = !toggle_;
  next_segment();
  return true;
}

void SdoClient::next_segment() noexcept {
  const auto bytes = std::min<std::size_t>(7, size_ - done_);
  last_ = done_ + bytes == size_;
  request(ask_write_segment << 5 | (toggle_ ? toggle_bit : 0) | (7U - static_cast<unsigned>(bytes)) << 1 |
          (last_ ? 1 : 0));
  std::copy_n(value_.begin() + static_cast<std::ptrdiff_t>(done_), bytes, out_.begin() + 1);
  done_ += bytes;
}

bool SdoClient::names_object(std::span<const std::byte> data) const noexcept {
  return read_little(data.subspan(1, 2)) == object_.index && std::to_integer<std::uint8_t>(data[3]) == object_.sub;
}

void SdoClient::finish(SdoResult result) noexcept {
  step_ = Step::idle;
  result_ = result;
}

void SdoClient::put_abort(std::uint32_t code) noexcept {
  request(abort_command << 5);
  write_little(std::span{out_}.subspan(1, 2), object_.index);
  out_[3] = static_cast<std::byte>(object_.sub);
  write_little(std::span{out_}.subspan(4, 4), code);
}

void SdoClient::abort(std::uint32_t code) noexcept {
  put_abort(code);
  finish({SdoResult::Kind::aborted, code});
}

SdoResult SdoClient::take_result() noexcept {
  const auto result = result_;
  result_ = {};
  return result;
}

}  // namespace trackrod
