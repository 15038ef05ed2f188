#include "drivers/protocol/e2e_settings.hpp"

#include <algorithm>

namespace trackrod {
namespace {

constexpr int longest = 1472;  // bytes of a frame

Shape<int> checks() { return integer<int>(0, E2eReceiver::longest_window); }

std::string profile_name(E2eProfile profile) {
  return profile == E2eProfile::p01 ? "P01" : profile == E2eProfile::p02 ? "P02" : "P05";
}

}  // namespace

const Fields<E2eSettings>& e2e_fields() {
  static const auto fields =
      Fields<E2eSettings>{"e2e", "End-to-end protection after AUTOSAR, instead of a counter and a checksum"}
          .need("profile", &E2eSettings::profile,
                located(
                    choice<E2eProfile>({{"P01", E2eProfile::p01}, {"P02", E2eProfile::p02}, {"P05", E2eProfile::p05}})),
                "profile 1, 2 or 5")
          .may("data_id", &E2eSettings::data_id, maybe(located(integer<int>(0, 0xFFFF))),
               "P01, P05: the identifier that goes into the checksum")
          .may("data_ids", &E2eSettings::data_ids, maybe(located(list(integer<int>(0, 0xFF), 16, 16))),
               "P02: the 16 identifiers, for counters 0 to 15")
          .may("id_mode", &E2eSettings::id_mode,
               maybe(located(choice<E2eIdMode>({{"both", E2eIdMode::both},
                                                {"alternating", E2eIdMode::alternating},
                                                {"low", E2eIdMode::low},
                                                {"nibble", E2eIdMode::nibble}}))),
               "P01: how the identifier goes in (default: both)")
          .may("at", &E2eSettings::at, located(integer<int>(0, longest - 1)),
               "P01, P05: first byte of the checksum (default 0)")
          .may("counter", &E2eSettings::counter, maybe(located(integer<int>(0, longest * 8 - 4))),
               "P01: bit of the counter's least significant bit (default 8)")
          .may("nibble", &E2eSettings::nibble, maybe(located(integer<int>(0, longest * 8 - 4))),
               "P01, id_mode nibble: bit of the identifier's four bits (default 12)")
          .may("max_delta", &E2eSettings::max_delta, located(integer<int>(1, 254)),
               "greatest step of the counter that is accepted (default 2)")
          .may("max_silent", &E2eSettings::max_silent, integer<int>(0, 15),
               "P01, P02: checks without a new frame after which the counter is found anew (default 14)")
          .may("sync_counter", &E2eSettings::sync_counter, integer<int>(0, 15),
               "P01, P02: frames that finding it takes (default 1)")
          .may("initial_is_ok", &E2eSettings::initial_is_ok, flag(),
               "P01, P02: true for units after releases before R4.2, where the first frame counts as right")
          .may("window", &E2eSettings::window, located(integer<int>(1, E2eReceiver::longest_window)),
               "checks that the state looks back on (default 10)")
          .may("min_ok_init", &E2eSettings::min_ok_init, checks(), "right checks to become valid at first (default 1)")
          .may("max_error_init", &E2eSettings::max_error_init, checks(), "wrong checks allowed then (default 1)")
          .may("min_ok_valid", &E2eSettings::min_ok_valid, checks(), "right checks to stay valid (default 1)")
          .may("max_error_valid", &E2eSettings::max_error_valid, checks(),
               "wrong checks allowed while valid (default 2)")
          .may("min_ok_invalid", &E2eSettings::min_ok_invalid, checks(),
               "right checks to become valid again (default 3)")
          .may("max_error_invalid", &E2eSettings::max_error_invalid, checks(), "wrong checks allowed then (default 0)");
  return fields;
}

E2e protection_of(const E2eSettings& s) {
  E2e e2e;
  e2e.profile = s.profile.value;
  if (s.id_mode) e2e.id_mode = s.id_mode->value;
  if (s.data_id) e2e.data_id = static_cast<std::uint16_t>(s.data_id->value);
  if (s.data_ids)
    std::transform(
        s.data_ids->value.begin(),
        s.data_ids->value.begin() + static_cast<std::ptrdiff_t>(std::min<std::size_t>(16, s.data_ids->value.size())),
        e2e.data_ids.begin(), [](int id) { return static_cast<std::uint8_t>(id); });
  e2e.at = static_cast<std::size_t>(s.at.value);
  if (s.counter) e2e.counter_at = static_cast<std::size_t>(s.counter->value);
  if (s.nibble) e2e.nibble_at = static_cast<std::size_t>(s.nibble->value);
  return e2e;
}

E2eLimits limits_of(const E2eSettings& s) {
  const auto whole = [](int n) { return static_cast<unsigned>(n); };
  E2eLimits limits;
  limits.max_delta = whole(s.max_delta.value);
  limits.max_silent = whole(s.max_silent);
  limits.sync_counter = whole(s.sync_counter);
  limits.initial_is_ok = s.initial_is_ok;
  limits.window = whole(s.window.value);
  limits.from_init = {whole(s.min_ok_init), whole(s.max_error_init)};
  limits.while_valid = {whole(s.min_ok_valid), whole(s.max_error_valid)};
  limits.from_invalid = {whole(s.min_ok_invalid), whole(s.max_error_invalid)};
  return limits;
}

std::vector<std::pair<std::string, BitSpan>> bits_of(const E2e& e2e) {
  const auto at = static_cast<int>(e2e.at) * 8;
  if (e2e.profile == E2eProfile::p05)
    return {{"the checksum of 'e2e'", {at, 16, ByteOrder::little}},
            {"the counter of 'e2e'", {at + 16, 8, ByteOrder::little}}};
  std::vector<std::pair<std::string, BitSpan>> all{
      {"the checksum of 'e2e'", {at, 8, ByteOrder::little}},
      {"the counter of 'e2e'", {static_cast<int>(e2e.counter_at), 4, ByteOrder::little}}};
  if (e2e.profile == E2eProfile::p01 && e2e.id_mode == E2eIdMode::nibble)
    all.push_back({"the identifier of 'e2e'", {static_cast<int>(e2e.nibble_at), 4, ByteOrder::little}});
  return all;
}

void check_e2e(const E2eSettings& s, int frame_length, Problems& problems) {
  const auto profile = s.profile.value;
  const auto name = profile_name(profile);
  const auto only = [&](const auto& value, const char* key, bool allowed, const char* where) {
    if (value && !allowed)
      problems.add(value->at, std::string{"'"} + key + "' with " + name,
                   std::string{"'"} + key + "' only with " + where);
  };
  const bool p01 = profile == E2eProfile::p01, p02 = profile == E2eProfile::p02;
  only(s.data_id, "data_id", !p02, "P01 and P05");
  only(s.data_ids, "data_ids", p02, "P02");
  only(s.id_mode, "id_mode", p01, "P01");
  only(s.counter, "counter", p01, "P01: in P02 it stands in bits 8 to 11, in P05 behind the checksum");
  only(s.nibble, "nibble", p01 && s.id_mode && s.id_mode->value == E2eIdMode::nibble,
       "P01 and \"id_mode\": \"nibble\"");
  if (!p02 && !s.data_id)
    problems.add(s.profile.at, "no 'data_id'", "the identifier of the message, which its sender and receivers share");
  if (p02 && !s.data_ids) problems.add(s.profile.at, "no 'data_ids'", "the 16 identifiers of the message");
  if (p02 && s.at.value != 0) problems.add(s.at.at, "'at' with P02", "0, which it always is there");
  for (const auto* at : {&s.counter, &s.nibble})
    if (*at && (*at)->value % 4 != 0)
      problems.add((*at)->at, "found bit " + std::to_string((*at)->value), "a multiple of 4");
  // Of the specification: what the checksums protect.
  const int most = p01 ? 30 : p02 ? 32 : longest;
  if (frame_length > most)
    problems.add(s.profile.at, name + " in a frame of " + std::to_string(frame_length) + " bytes",
                 "at most " + std::to_string(most) + " bytes with " + name);
  const int steps = static_cast<int>(protection_of(s).counters()) - 1;
  if (s.max_delta.value >= steps)
    problems.add(s.max_delta.at, "found " + std::to_string(s.max_delta.value),
                 "less than " + std::to_string(steps) + " with " + name,
                 "or a repeated frame could pass for a new one");
  // Constraints of the specification, so that it is never easier to become valid than to stay so.
  if (s.min_ok_valid > s.min_ok_init || s.min_ok_init > s.min_ok_invalid || s.max_error_valid < s.max_error_init ||
      s.max_error_init < s.max_error_invalid)
    problems.add(
        s.profile.at, "it is easier to become valid than to stay so",
        "min_ok_valid <= min_ok_init <= min_ok_invalid, and max_error_valid >= max_error_init >= max_error_invalid");
  if (std::max({s.min_ok_init, s.min_ok_valid, s.min_ok_invalid}) > s.window.value)
    problems.add(s.window.at.line > 0 ? s.window.at : s.profile.at,
                 "more right checks are needed than the window holds",
                 "'window' at least as great as each 'min_ok_...'");
}

}  // namespace trackrod
