#include "drivers/link/endpoint.hpp"

#include <arpa/inet.h>

#include <charconv>
#include <nlohmann/json.hpp>

namespace trackrod {
namespace {

bool parse(const std::string& text, Endpoint& out) {
  const auto colon = text.find(':');
  if (colon == std::string::npos) return false;
  in_addr address{};
  if (inet_pton(AF_INET, text.substr(0, colon).c_str(), &address) != 1) return false;
  const char* end = text.data() + text.size();
  const auto [rest, error] = std::from_chars(text.data() + colon + 1, end, out.port);
  out.address = ntohl(address.s_addr);
  return error == std::errc{} && rest == end && out.port != 0;
}

}  // namespace

std::string Endpoint::text() const {
  char dotted[INET_ADDRSTRLEN];
  const auto from = socket_address();
  inet_ntop(AF_INET, &from.sin_addr, dotted, sizeof dotted);
  return std::string{dotted} + ":" + std::to_string(port);
}

sockaddr_in Endpoint::socket_address() const noexcept {
  sockaddr_in to{};
  to.sin_family = AF_INET;
  to.sin_port = htons(port);
  to.sin_addr.s_addr = htonl(address);
  return to;
}

Endpoint Endpoint::of(const sockaddr_in& from) noexcept { return {ntohl(from.sin_addr.s_addr), ntohs(from.sin_port)}; }

Shape<Endpoint> endpoint() {
  return {[](const Node& n, Endpoint& out, Problems& p) {
            if (n.kind == Node::Kind::text && parse(n.text, out)) return true;
            p.add(n.at, "found " + n.shown(),
                  "an IPv4 address and a port from 1 to 65535, as in \"192.168.10.20:47110\"");
            return false;
          },
          [](SchemaBook&) {
            return std::make_shared<nlohmann::json>(
                nlohmann::json{{"type", "string"}, {"pattern", "^[0-9]{1,3}(\\.[0-9]{1,3}){3}:[0-9]{1,5}$"}});
          }};
}

Shape<std::uint32_t> group_address() {
  return {[](const Node& n, std::uint32_t& out, Problems& p) {
            in_addr address{};
            if (n.kind == Node::Kind::text && inet_pton(AF_INET, n.text.c_str(), &address) == 1) {
              out = ntohl(address.s_addr);
              if (IN_MULTICAST(out)) return true;
            }
            p.add(n.at, "found " + n.shown(), "a multicast address, 224.0.0.0 to 239.255.255.255, without a port");
            return false;
          },
          [](SchemaBook&) {
            return std::make_shared<nlohmann::json>(
                nlohmann::json{{"type", "string"}, {"pattern", "^2(2[4-9]|3[0-9])(\\.[0-9]{1,3}){3}$"}});
          }};
}

}  // namespace trackrod
