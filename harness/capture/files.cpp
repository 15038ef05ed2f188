#include "harness/capture/files.hpp"

#include <fcntl.h>
#include <unistd.h>

#include <cerrno>
#include <cstdio>
#include <filesystem>

namespace trackrod {

FileDescriptor::~FileDescriptor() {
  if (fd_ >= 0) close(fd_);
}

Result<void> write_all(int fd, std::string_view bytes, const std::string& path) {
  while (!bytes.empty()) {
    const auto n = write(fd, bytes.data(), bytes.size());
    if (n < 0 && errno == EINTR) continue;
    if (n < 0)
      return fail_os(Fault::storage, "'" + path + "' could not be written; free space on the disk or check it", errno);
    bytes.remove_prefix(static_cast<std::size_t>(n));
  }
  return {};
}

Result<void> sync_directory(const std::string& dir) {
  const FileDescriptor fd{open(dir.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC)};
  if (!fd.valid() || fsync(fd.get()) != 0)
    return fail_os(Fault::storage, "the folder '" + dir + "' could not be brought to the disk", errno);
  return {};
}

Result<void> sync_and_rename(const std::string& part, const std::string& path) {
  const FileDescriptor fd{open(part.c_str(), O_RDONLY | O_CLOEXEC)};
  if (!fd.valid() || fsync(fd.get()) != 0)
    return fail_os(Fault::storage, "'" + part + "' could not be brought to the disk", errno);
  if (std::rename(part.c_str(), path.c_str()) != 0)
    return fail_os(Fault::storage, "'" + part + "' could not be renamed to '" + path + "'", errno);
  return sync_directory(std::filesystem::absolute(path).parent_path().string());
}

}  // namespace trackrod
