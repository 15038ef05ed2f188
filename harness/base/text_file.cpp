#include "harness/base/text_file.hpp"

#include <cerrno>
#include <cstdio>
#include <memory>

namespace trackrod {

// C's streams, because those of C++ throw on a failed read and lose the reason.
Result<std::string> read_text(const std::string& path) {
  const std::unique_ptr<std::FILE, int (*)(std::FILE*)> file{std::fopen(path.c_str(), "rbe"), std::fclose};
  if (!file) return fail_os(errno == ENOENT ? Fault::bad_input : Fault::storage, "cannot read '" + path + "'", errno);
  std::string text;
  char piece[4096];
  for (std::size_t n = 0; (n = std::fread(piece, 1, sizeof piece, file.get())) > 0;) text.append(piece, n);
  if (std::ferror(file.get()) == 0) return text;
  if (errno == EISDIR) return fail(Fault::bad_input, "'" + path + "' is a folder, not a file");
  return fail_os(Fault::storage, "cannot read '" + path + "'", errno);
}

}  // namespace trackrod
