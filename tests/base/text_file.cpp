#include "harness/base/text_file.hpp"

#include <unistd.h>

#include <filesystem>
#include <fstream>

#include "tests/catch.hpp"

using namespace trackrod;
namespace fs = std::filesystem;

namespace {

struct Folder {
  Folder() {
    char name[] = "/tmp/trackrod-text-XXXXXX";
    REQUIRE(mkdtemp(name) != nullptr);
    path = name;
  }
  ~Folder() { fs::remove_all(path); }
  std::string file(const std::string& name) const { return path + "/" + name; }
  std::string path;
};

}  // namespace

TEST_CASE("a file is read byte by byte as it is") {
  Folder folder;
  std::string all;
  for (int i = 0; i < 256; ++i) all += static_cast<char>(i);
  all += "\r\n\n\xEF\xBB\xBF";
  for (const auto& content : {std::string{}, std::string{"one line"}, all, std::string(100'000, '\0')}) {
    std::ofstream{folder.file("f"), std::ios::binary} << content;
    const auto read = read_text(folder.file("f"));
    REQUIRE(read);
    CHECK(*read == content);
  }
}

TEST_CASE("a file that is not there or is a folder is bad input, and the sentence names the path") {
  Folder folder;
  const auto missing = read_text(folder.file("none"));
  REQUIRE_FALSE(missing);
  CHECK(missing.error().fault == Fault::bad_input);
  CHECK(missing.error().context == "cannot read '" + folder.file("none") + "': No such file or directory");
  const auto a_folder = read_text(folder.path);
  REQUIRE_FALSE(a_folder);
  CHECK(a_folder.error().fault == Fault::bad_input);
  CHECK(a_folder.error().context == "'" + folder.path + "' is a folder, not a file");
}

TEST_CASE("a file that the system does not give is a fault of storage") {
  const auto refused = read_text("/proc/self/mem");  // opens; its first byte cannot be read
  REQUIRE_FALSE(refused);
  CHECK(refused.error().fault == Fault::storage);
}
