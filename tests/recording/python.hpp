#pragma once
// Python of Debian as an independent reader.

#include <unistd.h>

#include <array>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <string>

#include "tests/catch.hpp"

namespace trackrod::test {

// A folder that goes when the test ends.
class Scratch {
 public:
  Scratch() {
    char name[] = "/tmp/trackrod-recording-XXXXXX";
    REQUIRE(mkdtemp(name) != nullptr);
    path_ = name;
  }
  Scratch(const Scratch&) = delete;
  Scratch& operator=(const Scratch&) = delete;
  ~Scratch() { std::filesystem::remove_all(path_); }
  std::string file(const std::string& name) const { return path_ + "/" + name; }
  std::string write(const std::string& name, const std::string& text) const {
    std::ofstream{file(name), std::ios::binary} << text;
    return file(name);
  }

 private:
  std::string path_;
};

inline std::string output_of(const std::string& command) {
  FILE* pipe = popen(command.c_str(), "r");
  REQUIRE(pipe != nullptr);
  std::string all;
  std::array<char, 65536> part{};
  while (const auto n = std::fread(part.data(), 1, part.size(), pipe)) all.append(part.data(), n);
  CHECK(pclose(pipe) == 0);
  return all;
}

// What the program prints, given a file with `input` and one more argument.
inline std::string python(const std::string& program, const std::string& input, const std::string& argument = "") {
  const Scratch scratch;
  return output_of("python3 " + scratch.write("program.py", program) + " " + scratch.write("input", input) + " '" +
                   argument + "'");
}

// "616263"; "-" for nothing.
inline std::string hex(const std::string& bytes) {
  std::string out;
  char two[3];
  for (const char c : bytes) {
    std::snprintf(two, sizeof two, "%02x", static_cast<unsigned char>(c));
    out += two;
  }
  return out.empty() ? "-" : out;
}

}  // namespace trackrod::test
