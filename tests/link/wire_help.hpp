#pragma once
// Peers made of plain system calls, and waiting that ends.

#include <arpa/inet.h>
#include <fcntl.h>
#include <poll.h>
#include <spawn.h>
#include <stdlib.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

#include <array>
#include <chrono>
#include <csignal>
#include <filesystem>
#include <span>
#include <string>
#include <vector>

#include "drivers/link/endpoint.hpp"
#include "drivers/link/link.hpp"
#include "tests/catch.hpp"

extern char** environ;

namespace trackrod {

inline constexpr std::uint32_t loopback = 0x7F000001;
inline constexpr int patience_ms = 10000;  // only a broken link makes a test wait that long

inline BenchTime now() { return SteadyTime{}.now(); }
inline std::span<const std::byte> bytes_of(const std::string& text) { return std::as_bytes(std::span{text}); }
inline std::string text_of(std::span<const std::byte> bytes) {
  return {reinterpret_cast<const char*>(bytes.data()), bytes.size()};
}

inline bool readable(int fd, int wait_ms = patience_ms) {
  pollfd p{fd, POLLIN, 0};
  return poll(&p, 1, wait_ms) == 1;
}
// Lets real time pass.
inline void wait_ms(int ms) { poll(nullptr, 0, ms); }

// Asks until the condition holds or patience ends.
template <class Condition>
bool eventually(Condition&& condition) {
  for (int ms = 0; ms < patience_ms; ++ms) {
    if (condition()) return true;
    wait_ms(1);
  }
  return false;
}

// A datagram socket on the loopback interface.
class PlainSocket {
 public:
  explicit PlainSocket(std::uint16_t port = 0) : fd{socket(AF_INET, SOCK_DGRAM, 0)} {
    const auto here = Endpoint{loopback, port}.socket_address();
    REQUIRE(bind(fd, reinterpret_cast<const sockaddr*>(&here), sizeof here) == 0);
  }
  ~PlainSocket() { close(fd); }
  PlainSocket(const PlainSocket&) = delete;
  PlainSocket& operator=(const PlainSocket&) = delete;

  Endpoint endpoint() const {
    sockaddr_in here{};
    socklen_t length = sizeof here;
    getsockname(fd, reinterpret_cast<sockaddr*>(&here), &length);
    return Endpoint::of(here);
  }
  void send(const std::string& text, Endpoint to) const {
    const auto there = to.socket_address();
    REQUIRE(sendto(fd, text.data(), text.size(), 0, reinterpret_cast<const sockaddr*>(&there), sizeof there) ==
            static_cast<ssize_t>(text.size()));
  }
  std::string receive() const {
    std::array<char, 2000> buffer{};
    if (!readable(fd)) return "(nothing came)";
    return {buffer.data(), static_cast<std::size_t>(recv(fd, buffer.data(), buffer.size(), 0))};
  }

  int fd;
};

// A pseudo-terminal; the test holds the master, the link opens the path.
class PlainPty {
 public:
  PlainPty() : master{posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC)} {
    REQUIRE(master >= 0);
    REQUIRE(grantpt(master) == 0);
    REQUIRE(unlockpt(master) == 0);
    std::array<char, 64> name{};
    REQUIRE(ptsname_r(master, name.data(), name.size()) == 0);
    path = name.data();
  }
  ~PlainPty() { hang_up(); }
  PlainPty(const PlainPty&) = delete;
  PlainPty& operator=(const PlainPty&) = delete;

  void hang_up() {
    if (master >= 0) close(master);
    master = -1;
  }
  void write(const std::string& text) const {
    REQUIRE(::write(master, text.data(), text.size()) == static_cast<ssize_t>(text.size()));
  }
  // What comes until `size` bytes are there, or for `wait` without any.
  std::string read(std::size_t size, int wait = patience_ms) const {
    std::string all;
    std::array<char, 4096> part{};
    while (all.size() < size && readable(master, wait)) {
      const auto n = ::read(master, part.data(), std::min(part.size(), size - all.size()));
      if (n <= 0) break;
      all.append(part.data(), static_cast<std::size_t>(n));
    }
    return all;
  }

  int master;
  std::string path;
};

// Takes what comes over a link until `size` bytes are there or patience ends.
inline std::string take(Link& link, std::size_t size, Stamp* last = nullptr) {
  std::string all;
  std::array<std::byte, 1500> buffer{};
  while (all.size() < size) {
    const auto got = link.receive(buffer, now());
    if (got.state == Received::State::lost) return all + "(lost)";
    if (got.state == Received::State::bytes) {
      all += text_of(std::span{buffer}.first(got.size));
      if (last != nullptr) *last = got.stamp;
    } else if (!readable(link.descriptor())) {
      return all + "(nothing more came)";
    }
  }
  return all;
}

// Another program, found on the path, ended with the test. Its standard input is `input` when that is no -1; its
// standard output can be read.
class Program {
 public:
  explicit Program(const std::vector<std::string>& words, int input = -1) {
    std::array<int, 2> pipe_ends{};
    REQUIRE(pipe2(pipe_ends.data(), O_CLOEXEC) == 0);
    output = pipe_ends[0];
    posix_spawn_file_actions_t actions;
    posix_spawn_file_actions_init(&actions);
    if (input >= 0) posix_spawn_file_actions_adddup2(&actions, input, 0);
    posix_spawn_file_actions_adddup2(&actions, pipe_ends[1], 1);
    std::vector<char*> pointers;
    for (const auto& w : words) pointers.push_back(const_cast<char*>(w.c_str()));
    pointers.push_back(nullptr);
    const int error = posix_spawnp(&id, pointers[0], &actions, nullptr, pointers.data(), environ);
    posix_spawn_file_actions_destroy(&actions);
    close(pipe_ends[1]);
    INFO("the program '" << words[0] << "' is needed for this test");
    REQUIRE(error == 0);
  }
  ~Program() {
    kill(id, SIGKILL);
    waitpid(id, nullptr, 0);
    close(output);
  }
  Program(const Program&) = delete;
  Program& operator=(const Program&) = delete;

  std::string all_output() const {
    std::string all;
    std::array<char, 4096> part{};
    while (readable(output)) {
      const auto n = ::read(output, part.data(), part.size());
      if (n <= 0) break;
      all.append(part.data(), static_cast<std::size_t>(n));
    }
    return all;
  }

  pid_t id{-1};
  int output{-1};
};

// A folder of its own, gone with the test.
class TestFolder {
 public:
  TestFolder() {
    std::string name = "/tmp/trackrod-test-XXXXXX";
    REQUIRE(mkdtemp(name.data()) != nullptr);
    path = name;
  }
  ~TestFolder() { std::filesystem::remove_all(path); }
  TestFolder(const TestFolder&) = delete;
  TestFolder& operator=(const TestFolder&) = delete;

  std::string path;
};

}  // namespace trackrod
