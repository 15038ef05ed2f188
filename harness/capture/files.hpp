#pragma once
// Files as the capture needs them: written whole, brought to the disk, named in every error (kind storage).

#include <string>
#include <string_view>
#include <utility>

#include "harness/base/error.hpp"

namespace trackrod {

class FileDescriptor {
 public:
  FileDescriptor() = default;
  explicit FileDescriptor(int fd) : fd_{fd} {}
  FileDescriptor(FileDescriptor&& other) noexcept : fd_{std::exchange(other.fd_, -1)} {}
  FileDescriptor& operator=(FileDescriptor&& other) noexcept {
    std::swap(fd_, other.fd_);
    return *this;
  }
  ~FileDescriptor();
  int get() const { return fd_; }
  bool valid() const { return fd_ >= 0; }

 private:
  int fd_{-1};
};

// Writes all of it or fails; a part may have been written then. `path` is for the sentence.
Result<void> write_all(int fd, std::string_view bytes, const std::string& path);
// So that a file made, renamed or removed there stays so after a cut of power.
Result<void> sync_directory(const std::string& dir);
// Brings the finished file to the disk, then gives it its name, so that a file of that name is always whole.
Result<void> sync_and_rename(const std::string& part, const std::string& path);

}  // namespace trackrod
