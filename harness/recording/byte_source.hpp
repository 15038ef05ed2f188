#pragma once
// Where the bytes of a recording come from: a file, or a text in memory.

#include <algorithm>
#include <functional>
#include <memory>
#include <span>
#include <string>

#include "harness/base/error.hpp"

namespace trackrod {

// Fills the room from its start and says with how many bytes; 0 = there are no more. May block. Error kind storage.
using ByteSource = std::function<Result<std::size_t>(std::span<char>)>;

inline ByteSource bytes_of(std::string text) {
  return [text = std::make_shared<const std::string>(std::move(text)),
          done = std::size_t{0}](std::span<char> room) mutable -> Result<std::size_t> {
    const auto n = std::min(room.size(), text->size() - done);
    std::copy_n(text->begin() + static_cast<std::ptrdiff_t>(done), n, room.begin());
    done += n;
    return n;
  };
}

}  // namespace trackrod
