#include "harness/base/can_identifier.hpp"

#include <charconv>
#include <nlohmann/json.hpp>

namespace trackrod {

Shape<std::uint32_t> can_identifier() {
  return {[](const Node& n, std::uint32_t& out, Problems& p) {
            const auto& text = n.text;
            if (n.kind == Node::Kind::text && text.size() > 2 && text.compare(0, 2, "0x") == 0) {
              const auto* end = text.data() + text.size();
              const auto read = std::from_chars(text.data() + 2, end, out, 16);
              if (read.ec == std::errc{} && read.ptr == end && out <= greatest_extended_id) return true;
            }
            p.add(n.at, "found " + n.shown(),
                  "a text such as \"0x120\", at most \"0x7FF\", or \"0x1FFFFFFF\" with 29 bits",
                  "identifiers are hexadecimal");
            return false;
          },
          [](SchemaBook&) {
            return std::make_shared<nlohmann::json>(
                nlohmann::json{{"type", "string"}, {"pattern", "^0x(1[0-9A-Fa-f]{7}|0*[0-9A-Fa-f]{1,7})$"}});
          }};
}

}  // namespace trackrod
