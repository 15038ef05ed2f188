#pragma once
// Words for what diagnostic messages carry (ISO 14229-1): negative responses, status bits, trouble codes.

#include <array>
#include <cstdint>
#include <string>
#include <string_view>

namespace trackrod {

enum UdsService : std::uint8_t {
  uds_session = 0x10,
  uds_clear = 0x14,
  uds_read_faults = 0x19,
  uds_read_identifier = 0x22,
  uds_tester_present = 0x3E,
  uds_negative = 0x7F,
  uds_positive = 0x40  // added to the service in an answer that is not negative
};

enum UdsRefusal : std::uint8_t {
  uds_busy = 0x21,
  uds_pending = 0x78,
  uds_sub_function_not_in_session = 0x7E,
  uds_service_not_in_session = 0x7F
};

// "clear diagnostic information"; "service 99" for one that is not used here.
std::string uds_service_name(unsigned service);
// "request out of range"; "code 99".
std::string uds_refusal_name(unsigned code);

// The bits of a trouble code's status, bit 0 first, as the bench file writes them: "test_failed".
inline constexpr std::array<std::string_view, 8> uds_status_bits{"test_failed",
                                                                 "test_failed_this_operation_cycle",
                                                                 "pending",
                                                                 "confirmed",
                                                                 "test_not_completed_since_last_clear",
                                                                 "test_failed_since_last_clear",
                                                                 "test_not_completed_this_operation_cycle",
                                                                 "warning_indicator_requested"};
// "test failed, confirmed"; "none".
std::string uds_status_words(unsigned status);

// "123456 (P1234-56)": the three bytes, and the letter form of SAE J2012.
std::string uds_code_text(std::uint32_t code);

}  // namespace trackrod
