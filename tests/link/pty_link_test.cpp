#include "drivers/link/pty_link.hpp"

#include <fstream>

#include "drivers/link/serial_link.hpp"
#include "tests/link/wire_help.hpp"

using namespace trackrod;
using namespace std::chrono_literals;

namespace {

SerialSettings settings_for(const std::string& path) {
  SerialSettings s;
  s.path = path;
  s.settle = 1ms;
  return s;
}

}  // namespace

TEST_CASE("the far end of a serial line answers whoever opens its path, again and again") {
  const TestFolder folder;
  const auto settings = settings_for(folder.path + "/supply");
  auto far = link_kind("serial").open_far_end(settings);
  REQUIRE(far);
  std::array<std::byte, 1500> buffer{};
  for (int round = 0; round < 3; ++round) {
    CHECK((*far)->receive(buffer, now()).state == Received::State::nothing);
    CHECK((*far)->send(bytes_of("nobody hears this"), now()).state == SendState::sent);
    auto bench = link_kind("serial").open(settings);
    REQUIRE(bench);
    CHECK((*bench)->send(bytes_of("*IDN?\n"), now()).state == SendState::sent);
    CHECK(take(**far, 6) == "*IDN?\n");
    CHECK((*far)->send(bytes_of("a supply\n"), now()).state == SendState::sent);
    CHECK(take(**bench, 9) == "a supply\n");
  }
}

TEST_CASE("the path of a far end is made, replaced when stale, and taken away at the end") {
  const TestFolder folder;
  const auto path = folder.path + "/port";
  std::filesystem::create_symlink("/dev/pts/999999", path);
  {
    const auto far = PtyLink::open(path);
    REQUIRE(far);
    CHECK(std::filesystem::read_symlink(path).string().starts_with("/dev/pts/"));
    CHECK(std::filesystem::read_symlink(path) != "/dev/pts/999999");
  }
  CHECK_FALSE(std::filesystem::exists(std::filesystem::symlink_status(path)));

  std::ofstream{path} << "somebody's file";
  const auto refused = PtyLink::open(path);
  REQUIRE_FALSE(refused);
  CHECK(refused.error().fault == Fault::refused);
  CHECK(refused.error().context.find("'" + path + "'") == 0);
  CHECK_FALSE(PtyLink::open(folder.path + "/no/such/folder"));
}
