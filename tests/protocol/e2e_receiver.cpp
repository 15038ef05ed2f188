// What a receiver of protected frames concludes. Rules: AUTOSAR PRS_E2EProtocol (R4.2 to R19-11, one window size).

#include "drivers/protocol/e2e_receiver.hpp"

#include <random>

#include "tests/protocol/wire.hpp"

using namespace trackrod;
using namespace trackrod::testing;

namespace {

using Status = E2eStatus;
using State = E2eState;

E2e protection(E2eProfile profile) {
  E2e e2e;
  e2e.profile = profile;
  e2e.data_id = 0x2B7;
  for (std::size_t i = 0; i < 16; ++i) e2e.data_ids[i] = static_cast<std::uint8_t>(17 * i + 3);
  return e2e;
}

// A sender and the receiver under test.
struct Talk {
  explicit Talk(E2eProfile profile, E2eLimits limits = {}) : e2e{protection(profile)}, receiver{e2e, limits} {}

  Status frame(unsigned counter) {
    Bytes b(8);
    e2e.protect(b, counter);
    return receiver.check(b);
  }
  Status damaged(unsigned counter) {
    Bytes b(8);
    e2e.protect(b, counter);
    b[5] ^= std::byte{0x10};
    return receiver.check(b);
  }

  E2e e2e;
  E2eReceiver receiver;
};

E2eLimits strict() {
  E2eLimits limits;
  limits.max_delta = 1;
  limits.sync_counter = 0;
  return limits;
}

}  // namespace

TEST_CASE("profiles 1 and 2: the first right frame is initial, the next in turn is right") {
  for (const auto profile : {E2eProfile::p01, E2eProfile::p02}) {
    Talk talk{profile};
    CHECK(talk.receiver.nothing_came() == Status::no_new_data);
    CHECK(talk.damaged(6) == Status::wrong_checksum);
    CHECK(talk.frame(7) == Status::initial);
    CHECK(talk.frame(8) == Status::ok);
    CHECK(talk.frame(8) == Status::repeated);
    CHECK(talk.frame(9) == Status::ok);
    CHECK(talk.frame(11) == Status::some_lost);
    CHECK(talk.receiver.lost() == 1);
    CHECK(talk.damaged(12) == Status::wrong_checksum);
  }
}

TEST_CASE("the counter of profile 1 goes from 14 to 0, that of profile 2 from 15, that of profile 5 from 255") {
  for (const auto& [profile, last] :
       {std::pair{E2eProfile::p01, 14U}, std::pair{E2eProfile::p02, 15U}, std::pair{E2eProfile::p05, 255U}}) {
    Talk talk{profile};
    talk.frame(last - 1);
    CHECK(talk.frame(last) == Status::ok);
    CHECK(talk.frame(0) == Status::ok);
  }
}

TEST_CASE("profile 1 takes a counter of 15 for an error") {
  Talk talk{E2eProfile::p01};
  CHECK(talk.frame(15) == Status::error);
}

// The published rule: the greatest step grows by 1 at the start of each check and falls back when a frame is accepted;
// with a limit of 1 and last counter 1 the next check accepts 2 and 3, not 4.
TEST_CASE("profile 1 allows one step more with each check that accepts nothing") {
  for (const auto& [counter, expected] :
       {std::pair{2U, Status::ok}, std::pair{3U, Status::some_lost}, std::pair{4U, Status::wrong_sequence}}) {
    Talk talk{E2eProfile::p01, strict()};
    talk.frame(1);
    CHECK(talk.frame(counter) == expected);
  }
  Talk talk{E2eProfile::p01, strict()};
  talk.frame(1);
  talk.receiver.nothing_came();
  CHECK(talk.frame(4) == Status::some_lost);
  CHECK(talk.receiver.lost() == 2);
  CHECK(talk.frame(7) == Status::wrong_sequence);  // back to the limit after the accepted one
}

TEST_CASE("after a wrong sequence the counter is found again over sync_counter frames") {
  auto limits = strict();
  limits.sync_counter = 2;
  Talk talk{E2eProfile::p01, limits};
  talk.frame(1);
  CHECK(talk.frame(9) == Status::wrong_sequence);
  CHECK(talk.frame(10) == Status::sync);
  CHECK(talk.frame(11) == Status::sync);
  CHECK(talk.frame(12) == Status::ok);
}

TEST_CASE("after too long a silence the counter is found again") {
  auto limits = strict();
  limits.max_silent = 2;
  limits.sync_counter = 1;
  Talk talk{E2eProfile::p02, limits};
  talk.frame(1);
  talk.frame(2);
  for (int i = 0; i < 3; ++i) talk.receiver.nothing_came();
  CHECK(talk.frame(3) == Status::sync);
  CHECK(talk.frame(4) == Status::sync);
  CHECK(talk.frame(5) == Status::ok);
}

TEST_CASE("profile 5 starts before counter 0 and takes every right frame as its new place") {
  Talk talk{E2eProfile::p05};
  CHECK(talk.frame(0) == Status::ok);
  Talk late{E2eProfile::p05};
  CHECK(late.frame(77) == Status::wrong_sequence);
  CHECK(late.frame(78) == Status::ok);
  CHECK(late.frame(78) == Status::repeated);
  CHECK(late.frame(80) == Status::some_lost);
  CHECK(late.frame(83) == Status::wrong_sequence);
  CHECK(late.damaged(84) == Status::error);
  CHECK(late.frame(85) == Status::some_lost);
}

TEST_CASE("the state machine waits for data, then for enough right checks, and falls with too many wrong ones") {
  E2eLimits limits;
  limits.window = 4;
  limits.from_init = {2, 0};
  limits.while_valid = {1, 1};
  limits.from_invalid = {3, 0};
  Talk talk{E2eProfile::p02, limits};
  const auto state = [&] { return talk.receiver.state(); };
  CHECK(state() == State::no_data);
  talk.receiver.nothing_came();
  talk.damaged(1);
  CHECK(state() == State::no_data);
  talk.frame(1);  // initial: ends the state and counts as neither
  CHECK(state() == State::init);
  talk.frame(2);
  CHECK(state() == State::init);
  talk.frame(3);
  CHECK(state() == State::valid);
  talk.damaged(4);
  CHECK(state() == State::valid);
  talk.damaged(5);  // two of the last four
  CHECK(state() == State::invalid);
  for (const unsigned counter : {6U, 7U, 8U}) {
    CHECK(state() == State::invalid);
    talk.frame(counter);
  }
  CHECK(state() == State::invalid);  // one wrong check is still in the window
  talk.frame(9);
  CHECK(state() == State::valid);
}

TEST_CASE("an error while waiting for enough right checks makes the message invalid") {
  E2eLimits limits;
  limits.from_init = {2, 0};
  Talk talk{E2eProfile::p01, limits};
  talk.frame(1);
  talk.damaged(2);
  CHECK(talk.receiver.state() == State::invalid);
}

TEST_CASE("silence pushes the right checks out of the window, and then the message is no longer valid") {
  E2eLimits limits;
  limits.window = 3;
  Talk talk{E2eProfile::p05, limits};
  for (unsigned c = 0; c < 5; ++c) talk.frame(c);
  CHECK(talk.receiver.state() == State::valid);
  talk.receiver.nothing_came();
  talk.receiver.nothing_came();
  CHECK(talk.receiver.state() == State::valid);
  talk.receiver.nothing_came();
  CHECK(talk.receiver.state() == State::invalid);
}

TEST_CASE("before R4.2 the first frame counts as right and one that finds the counter again does not") {
  for (const bool older : {true, false}) {
    CAPTURE(older);
    E2eLimits limits;
    limits.window = 1;
    limits.max_delta = 1;
    limits.sync_counter = 1;
    limits.while_valid = {1, 0};
    limits.from_invalid = {1, 0};
    limits.initial_is_ok = older;
    Talk talk{E2eProfile::p01, limits};
    talk.frame(0);
    talk.frame(1);
    CHECK(talk.receiver.state() == State::valid);
    CHECK(talk.frame(9) == Status::wrong_sequence);
    CHECK(talk.receiver.state() == State::invalid);
    CHECK(talk.frame(10) == Status::sync);
    CHECK(talk.receiver.state() == (older ? State::invalid : State::valid));
  }
}

// Independent of the implementation: what any receiver must keep, over random losses and damage.
TEST_CASE("no damaged frame is ever taken for a right one, and an undisturbed sender always becomes valid") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937_64 random{seed};
  for (const auto profile : {E2eProfile::p01, E2eProfile::p02, E2eProfile::p05}) {
    Talk talk{profile};
    const auto counters = talk.e2e.counters();
    unsigned counter = talk.e2e.first_counter();
    for (int i = 0; i < 20000; ++i, counter = (counter + 1) % counters) {
      const auto fate = random() % 8;
      if (fate == 0) {
        const auto status = talk.damaged(counter);
        CHECK((status == Status::wrong_checksum || status == Status::error));
      } else if (fate == 1) {
        talk.receiver.nothing_came();
      } else {
        talk.frame(counter);
      }
    }
    for (int i = 0; i < 30; ++i, counter = (counter + 1) % counters) talk.frame(counter);
    CHECK(talk.receiver.status() == Status::ok);
    CHECK(talk.receiver.state() == State::valid);
  }
}
