#include "harness/cli/order.hpp"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <filesystem>
#include <sstream>

#include "harness/base/text_file.hpp"
#include "harness/cli/console.hpp"

namespace trackrod {
namespace {

std::vector<std::string> words_of(const std::string& text) {
  constexpr char blank[] = " \t\r";
  std::vector<std::string> words;
  std::istringstream in{text};
  for (std::string line; std::getline(in, line);) {
    const auto begin = line.find_first_not_of(blank);
    if (begin == line.npos || line[begin] == '#') continue;
    words.push_back(line.substr(begin, line.find_last_not_of(blank) - begin + 1));
  }
  return words;
}

// What is wrong with an order that was written then; empty: nothing.
std::string trouble_with_age(WallTime written, WallTime now) {
  if (written > now) return "is dated in the future: the clock was set";
  if (now - written > order_lasts)
    return "was written " + shown_time(seconds(std::chrono::duration_cast<Duration>(now - written))) +
           " ago, and an order is good for " + std::to_string(order_lasts.count()) + " min";
  return {};
}

// So that it is gone after a loss of power, too.
Result<void> remove_on_disk(const std::string& file) {
  if (unlink(file.c_str()) != 0)
    return fail_os(Fault::storage, "the order '" + file + "' cannot be taken away, so it is not obeyed", errno);
  auto folder = std::filesystem::path{file}.parent_path().string();
  if (folder.empty()) folder = ".";
  const int fd = open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  const bool synced = fd >= 0 && fsync(fd) == 0;
  const int error = errno;
  if (fd >= 0) close(fd);
  if (!synced) return fail_os(Fault::storage, "that the order '" + file + "' is taken away cannot be made sure", error);
  return {};
}

}  // namespace

Result<std::vector<std::string>> take_order(const std::string& file, WallTime now) {
  const auto refused = [&](const std::string& why) {
    return fail(Fault::bad_input,
                "the order '" + file + "' " + why +
                    "; nothing was moved. Whoever answers for the bench now writes it (docs/service.md)");
  };
  struct stat at {};
  if (lstat(file.c_str(), &at) != 0) return refused("is not there: none was written, or it was obeyed already");
  if (!S_ISREG(at.st_mode)) return refused("is no file");
  const WallTime written{std::chrono::duration_cast<WallTime::duration>(std::chrono::seconds{at.st_mtim.tv_sec} +
                                                                        std::chrono::nanoseconds{at.st_mtim.tv_nsec})};
  if (const auto trouble = trouble_with_age(written, now); !trouble.empty()) return refused(trouble);
  const auto text = read_text(file);
  if (!text) return tl::unexpected<Error>{text.error()};
  if (auto removed = remove_on_disk(file); !removed) return tl::unexpected<Error>{removed.error()};
  auto words = words_of(*text);
  if (words.empty()) return refused("says nothing");
  return words;
}

}  // namespace trackrod
