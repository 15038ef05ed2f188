#pragma once
// What a bench file says about a frame that is protected end to end.

#include <cstdint>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "drivers/protocol/bits.hpp"
#include "drivers/protocol/e2e_receiver.hpp"
#include "harness/base/fields.hpp"

namespace trackrod {

struct E2eSettings {
  Located<E2eProfile> profile;
  std::optional<Located<int>> data_id;
  std::optional<Located<std::vector<int>>> data_ids;
  std::optional<Located<E2eIdMode>> id_mode;
  Located<int> at;  // byte of the checksum
  std::optional<Located<int>> counter, nibble;
  Located<int> max_delta{2, {}};
  int max_silent{14}, sync_counter{1};
  bool initial_is_ok{false};
  Located<int> window{10, {}};
  int min_ok_init{1}, max_error_init{1}, min_ok_valid{1}, max_error_valid{2}, min_ok_invalid{3}, max_error_invalid{0};
};

const Fields<E2eSettings>& e2e_fields();
E2e protection_of(const E2eSettings& settings);
E2eLimits limits_of(const E2eSettings& settings);
// What the protection takes in the frame, with a name for each.
std::vector<std::pair<std::string, BitSpan>> bits_of(const E2e& protection);
void check_e2e(const E2eSettings& settings, int frame_length, Problems& problems);

}  // namespace trackrod
