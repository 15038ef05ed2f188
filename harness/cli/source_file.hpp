#pragma once
// A file that is read from end to end, with its length and hash.

#include <cstdint>
#include <memory>
#include <string>

#include "harness/recording/byte_source.hpp"

namespace trackrod {

class SourceFile {
 public:
  // Error kind bad_input when there is no such file or it is a folder, storage when the system does not give it.
  static Result<SourceFile> open(const std::string& path);
  // The file's bytes, once. This object must live as long as it is used.
  ByteSource bytes();
  std::uint64_t size() const;  // of what was read
  std::string sha256() const;  // of what was read; call it once, at the end

 private:
  struct State;
  explicit SourceFile(std::shared_ptr<State> state) : state_{std::move(state)} {}
  std::shared_ptr<State> state_;
};

}  // namespace trackrod
