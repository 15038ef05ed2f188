// End-to-end protection against published examples.

#include "drivers/protocol/e2e.hpp"

#include <numeric>
#include <vector>

#include "drivers/protocol/e2e_receiver.hpp"
#include "tests/catch.hpp"

using namespace trackrod;

namespace {

using Frame = std::vector<std::byte>;

Frame frame(std::vector<int> head, std::size_t size) {
  Frame f(size);
  for (std::size_t i = 0; i < head.size(); ++i) f[i] = static_cast<std::byte>(head[i]);
  return f;
}

Frame protected_by(const E2e& e2e, unsigned counter, Frame f) {
  e2e.protect(f, counter);
  return f;
}

E2e p01(E2eIdMode mode) { return {E2eProfile::p01, mode, 0x123, {}, 0, 8, 12}; }

}  // namespace

// Source: AUTOSAR PRS_E2EProtocol, protocol examples of profile 1 (identifier 0x123, eight bytes, all data 0).
TEST_CASE("profile 1 protects as in the specification's examples, in each mode of the identifier") {
  const auto check = [](E2eIdMode mode, unsigned counter, std::vector<int> head) {
    CAPTURE(static_cast<int>(mode), counter);
    const auto e2e = p01(mode);
    CHECK(protected_by(e2e, counter, Frame(8)) == frame(head, 8));
    CHECK(e2e.intact(frame(head, 8)));
    CHECK(e2e.counter_in(frame(head, 8)) == counter);
  };
  check(E2eIdMode::both, 0, {0xCC, 0x00});
  check(E2eIdMode::both, 1, {0x91, 0x01});
  check(E2eIdMode::alternating, 0, {0xCE, 0x00});
  check(E2eIdMode::alternating, 1, {0x02, 0x01});
  check(E2eIdMode::low, 0, {0xCE, 0x00});
  check(E2eIdMode::low, 1, {0x93, 0x01});
  check(E2eIdMode::nibble, 0, {0x2A, 0x10});
  check(E2eIdMode::nibble, 1, {0x77, 0x11});
}

TEST_CASE("profile 1 rejects a changed bit, another identifier, a wrong nibble and the counter 15") {
  CHECK_FALSE(p01(E2eIdMode::both).intact(frame({0xCC, 0x10}, 8)));    // published as a frame to be rejected
  CHECK_FALSE(p01(E2eIdMode::nibble).intact(frame({0x77, 0x21}, 8)));  // likewise
  auto other = p01(E2eIdMode::both);
  other.data_id = 0x124;
  CHECK_FALSE(other.intact(frame({0xCC, 0x00}, 8)));
  const auto fifteen = protected_by(p01(E2eIdMode::both), 15, Frame(8));
  CHECK_FALSE(p01(E2eIdMode::both).intact(fifteen));
}

// Source: AUTOSAR PRS_E2EProtocol, protocol examples of profile 2.
TEST_CASE("profile 2 protects as in the specification's examples") {
  E2e e2e;
  e2e.profile = E2eProfile::p02;
  CHECK(protected_by(e2e, 1, Frame(8)) == frame({0x45, 0x01}, 8));
  std::iota(e2e.data_ids.begin(), e2e.data_ids.end(), std::uint8_t{0});
  CHECK(protected_by(e2e, 2, frame({0, 0, 2, 3, 4, 5, 6, 7}, 8)) == frame({0xBC, 2, 2, 3, 4, 5, 6, 7}, 8));
  CHECK(protected_by(e2e, 1, frame({0, 0, 2, 3, 4, 5, 6, 7}, 8)) == frame({0x61, 1, 2, 3, 4, 5, 6, 7}, 8));
  CHECK(e2e.intact(frame({0x61, 1, 2, 3, 4, 5, 6, 7}, 8)));
  CHECK_FALSE(e2e.intact(frame({0x61, 1, 2, 3, 4, 5, 6, 6}, 8)));
}

// Source: AUTOSAR PRS_E2EProtocol, protocol examples of profile 5 (identifier 0x1234).
TEST_CASE("profile 5 protects as in the specification's examples, at the front and behind a header") {
  E2e e2e;
  e2e.profile = E2eProfile::p05;
  e2e.data_id = 0x1234;
  CHECK(protected_by(e2e, 0, Frame(8)) == frame({0x1C, 0xCA, 0x00}, 8));
  CHECK(protected_by(e2e, 1, Frame(8)) == frame({0xCF, 0x8D, 0x01}, 8));
  e2e.at = 8;
  CHECK(protected_by(e2e, 0, Frame(16)) == frame({0, 0, 0, 0, 0, 0, 0, 0, 0x28, 0x91, 0x00}, 16));
  CHECK(protected_by(e2e, 1, Frame(16)) == frame({0, 0, 0, 0, 0, 0, 0, 0, 0xFB, 0xD6, 0x01}, 16));
}

// By hand: the start value and the final exclusive or of the library's CRC8 cancel out (AUTOSAR SWS_E2ELibrary), and a
// CRC that starts with 0 stays 0 over zeros.
TEST_CASE("profile 1 over nothing but zeros gives zero") {
  auto e2e = p01(E2eIdMode::both);
  e2e.data_id = 0;
  CHECK(protected_by(e2e, 0, Frame(8)) == Frame(8));
}
