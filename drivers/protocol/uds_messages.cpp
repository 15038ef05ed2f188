#include "drivers/protocol/uds_messages.hpp"

#include <algorithm>
#include <cstdio>
#include <span>
#include <utility>

namespace trackrod {
namespace {

using Names = std::span<const std::pair<unsigned, const char*>>;

std::string looked_up(Names names, unsigned number, const char* other) {
  const auto at = std::find_if(names.begin(), names.end(), [&](const auto& n) { return n.first == number; });
  if (at != names.end()) return at->second;
  std::array<char, 8> hex;
  std::snprintf(hex.data(), hex.size(), "%02X", number & 0xFF);
  return std::string{other} + hex.data();
}

}  // namespace

std::string uds_service_name(unsigned service) {
  static constexpr std::pair<unsigned, const char*> names[]{{uds_session, "change of session"},
                                                            {uds_clear, "clearing of the fault memory"},
                                                            {uds_read_faults, "reading of the fault memory"},
                                                            {uds_read_identifier, "reading by identifier"},
                                                            {uds_tester_present, "tester present"}};
  return looked_up(names, service, "service ");
}

// ISO 14229-1, annex A.
std::string uds_refusal_name(unsigned code) {
  static constexpr std::pair<unsigned, const char*> names[]{{0x10, "general reject"},
                                                            {0x11, "service not supported"},
                                                            {0x12, "sub-function not supported"},
                                                            {0x13, "wrong message length or format"},
                                                            {0x14, "response too long"},
                                                            {0x21, "busy, repeat the request"},
                                                            {0x22, "conditions not correct"},
                                                            {0x24, "request sequence error"},
                                                            {0x31, "request out of range"},
                                                            {0x33, "security access denied"},
                                                            {0x35, "invalid key"},
                                                            {0x36, "exceeded number of attempts"},
                                                            {0x37, "required time delay not expired"},
                                                            {0x70, "upload or download not accepted"},
                                                            {0x72, "general programming failure"},
                                                            {0x73, "wrong block sequence counter"},
                                                            {0x78, "request received, response pending"},
                                                            {0x7E, "sub-function not supported in the active session"},
                                                            {0x7F, "service not supported in the active session"},
                                                            {0x92, "voltage too high"},
                                                            {0x93, "voltage too low"}};
  return looked_up(names, code, "code ");
}

std::string uds_status_words(unsigned status) {
  std::string words;
  for (std::size_t bit = 0; bit < uds_status_bits.size(); ++bit)
    if ((status >> bit & 1U) != 0) words += (words.empty() ? "" : ", ") + std::string{uds_status_bits[bit]};
  std::replace(words.begin(), words.end(), '_', ' ');
  return words.empty() ? "none" : words;
}

std::string uds_code_text(std::uint32_t code) {
  std::array<char, 32> text;
  std::snprintf(text.data(), text.size(), "%06X (%c%u%03X-%02X)", code & 0xFFFFFFU, "PCBU"[code >> 22 & 3U],
                static_cast<unsigned>(code >> 20 & 3U), static_cast<unsigned>(code >> 8 & 0xFFFU),
                static_cast<unsigned>(code & 0xFFU));
  return text.data();
}

}  // namespace trackrod
