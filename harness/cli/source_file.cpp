#include "harness/cli/source_file.hpp"

#include <sodium.h>

#include <cerrno>
#include <cstdio>

namespace trackrod {

struct SourceFile::State {
  std::string path;
  std::unique_ptr<std::FILE, int (*)(std::FILE*)> file{nullptr, std::fclose};
  crypto_hash_sha256_state hash{};
  std::uint64_t size{0};
};

Result<SourceFile> SourceFile::open(const std::string& path) {
  auto state = std::make_shared<State>();
  state->path = path;
  state->file.reset(std::fopen(path.c_str(), "rbe"));
  if (!state->file)
    return fail_os(errno == ENOENT ? Fault::bad_input : Fault::storage, "cannot read '" + path + "'", errno);
  crypto_hash_sha256_init(&state->hash);
  return SourceFile{std::move(state)};
}

ByteSource SourceFile::bytes() {
  return [state = state_](std::span<char> room) -> Result<std::size_t> {
    const auto n = std::fread(room.data(), 1, room.size(), state->file.get());
    if (n == 0 && std::ferror(state->file.get()) != 0) {
      if (errno == EISDIR) return fail(Fault::bad_input, "'" + state->path + "' is a folder, not a file");
      return fail_os(Fault::storage, "cannot read '" + state->path + "'", errno);
    }
    crypto_hash_sha256_update(&state->hash, reinterpret_cast<const unsigned char*>(room.data()), n);
    state->size += n;
    return n;
  };
}

std::uint64_t SourceFile::size() const { return state_->size; }

std::string SourceFile::sha256() const {
  unsigned char hash[crypto_hash_sha256_BYTES];
  crypto_hash_sha256_final(&state_->hash, hash);
  char text[2 * sizeof hash + 1];
  sodium_bin2hex(text, sizeof text, hash, sizeof hash);
  return text;
}

}  // namespace trackrod
