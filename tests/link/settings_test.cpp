#include "drivers/link/serial_port.hpp"
#include "drivers/link/tcp_link.hpp"
#include "drivers/link/udp_link.hpp"
#include "tests/catch.hpp"

using namespace trackrod;
using namespace std::chrono_literals;

namespace {

std::vector<KindEntry> kinds() {
  std::vector<KindEntry> all;
  for (const auto& line : link_table()) all.push_back(line.entry);
  return all;
}

Chosen read(const std::string& text, Problems& problems) {
  const auto node = parse_json(text, "bench.json", problems);
  REQUIRE(node);
  Chosen chosen;
  read_kind(*node, "kind", kinds(), chosen, problems);
  return chosen;
}

}  // namespace

TEST_CASE("the settings of a UDP link are read from a bench file") {
  Problems problems;
  const auto chosen = read(R"({"kind": "udp", "local": "192.168.10.1:47110", "peer": "192.168.10.20:47111",
                               "receive_buffer": 8388608})",
                           problems);
  REQUIRE(problems.none());
  const auto& udp = std::any_cast<const UdpSettings&>(chosen.value);
  CHECK(udp.local == Endpoint{0xC0A80A01, 47110});
  CHECK(udp.local.text() == "192.168.10.1:47110");
  CHECK(udp.peer.text() == "192.168.10.20:47111");
  CHECK(udp.receive_buffer == 8388608);
}

TEST_CASE("the settings of a serial link are read from a bench file, with defaults") {
  Problems problems;
  const auto plain = read(R"({"kind": "serial", "path": "/dev/serial/by-id/supply"})", problems);
  const auto full = read(R"({"kind": "serial", "path": "/dev/ttyS0", "baud": 9600, "parity": "odd", "stop_bits": 2,
                             "settle": "2 s"})",
                         problems);
  REQUIRE(problems.none());
  CHECK(std::any_cast<const SerialSettings&>(plain.value).line() == "115200 8N1");
  const auto& odd = std::any_cast<const SerialSettings&>(full.value);
  CHECK(odd.line() == "9600 8O2");
  CHECK(odd.settle == 2s);
  CHECK(odd.byte_time() == Duration{1'250'000});  // 12 bits at 9600 baud
}

TEST_CASE("a serial line's frame, lines and two-wire mode are read from a bench file") {
  Problems problems;
  const auto chosen = read(R"({"kind": "serial", "path": "/dev/ttyS0", "data_bits": 7, "parity": "even", "dtr": "off",
                               "hang_up": true, "low_latency": true,
                               "rs485": {"rts_while_sending": "off", "before": "1 ms", "after": "2 ms"}})",
                           problems);
  REQUIRE(problems.none());
  const auto& s = std::any_cast<const SerialSettings&>(chosen.value);
  CHECK(s.line() == "115200 7E1");
  CHECK(s.dtr == LineLevel::off);
  CHECK(s.hang_up);
  CHECK(s.low_latency == true);
  REQUIRE(s.rs485);
  CHECK(s.rs485->rts_while_sending == LineLevel::off);
  CHECK(s.rs485->before == 1ms);
  CHECK(s.rs485->after == 2ms);
}

TEST_CASE("the settings of links to groups and of TCP links are read from a bench file") {
  Problems problems;
  const auto many = read(R"({"kind": "udp", "local": "192.168.10.1:47110", "peer": "239.1.2.3:47111",
                             "from": "192.168.10.20:47111", "group": "239.1.2.4", "hops": 2, "loop": true,
                             "broadcast": true})",
                         problems);
  const auto tcp = read(R"({"kind": "tcp", "peer": "192.168.10.30:5025", "timeout": "500 ms"})", problems);
  REQUIRE(problems.none());
  const auto& udp = std::any_cast<const UdpSettings&>(many.value);
  CHECK(udp.from == Endpoint{0xC0A80A14, 47111});
  CHECK(udp.sender() == Endpoint{0xC0A80A14, 47111});
  CHECK(udp.group == 0xEF010204);
  CHECK(udp.hops == 2);
  CHECK(udp.loop);
  CHECK(udp.broadcast);
  CHECK(std::any_cast<const TcpSettings&>(tcp.value).peer == Endpoint{0xC0A80A1E, 5025});
  CHECK(std::any_cast<const TcpSettings&>(tcp.value).timeout == 500ms);
}

TEST_CASE("settings that cannot be are refused where they stand") {
  const auto [text, wrong, allowed] = GENERATE(table<std::string, std::string, std::string>({
      {R"({"kind": "udp", "local": "127.0.0.1", "peer": "127.0.0.1:2"})", R"("127.0.0.1")", "IPv4 address and a port"},
      {R"({"kind": "udp", "local": "127.0.0.1:0", "peer": "127.0.0.1:2"})", R"("127.0.0.1:0")", "1 to 65535"},
      {R"({"kind": "udp", "local": "127.0.0.1:65536", "peer": "127.0.0.1:2"})", R"("127.0.0.1:65536")", "1 to 65535"},
      {R"({"kind": "udp", "local": "127.0.0.1:47x", "peer": "127.0.0.1:2"})", R"("127.0.0.1:47x")", "1 to 65535"},
      {R"({"kind": "udp", "local": "300.0.0.1:1", "peer": "127.0.0.1:2"})", R"("300.0.0.1:1")", "IPv4"},
      {R"({"kind": "udp", "local": "bench-pc:4711", "peer": "127.0.0.1:2"})", R"("bench-pc:4711")", "IPv4"},
      {R"({"kind": "udp", "local": "127.0.0.1:1", "peer": 5})", "5}", "IPv4"},
      {R"({"kind": "udp", "local": "127.0.0.1:1", "peer": "127.0.0.1:2", "receive_buffer": 10})", "10}", "4096"},
      {R"({"kind": "udp", "local": "127.0.0.1:1", "peer": "239.1.1.1:2"})", R"("239.1.1.1:2")", "'from'"},
      {R"({"kind": "udp", "local": "0.0.0.0:1", "peer": "127.0.0.1:2", "group": "239.1.1.1"})", R"("0.0.0.0:1")",
       "network card"},
      {R"({"kind": "udp", "local": "127.0.0.1:1", "peer": "255.255.255.255:2", "from": "127.0.0.1:2"})",
       R"("255.255.255.255:2")", "one machine"},
      {R"({"kind": "udp", "local": "127.0.0.1:1", "peer": "127.0.0.1:2", "from": "239.1.1.1:2"})", R"("239.1.1.1:2")",
       "one machine"},
      {R"({"kind": "udp", "local": "127.0.0.1:1", "peer": "127.0.0.1:2", "group": "10.1.1.1"})", R"("10.1.1.1")",
       "224.0.0.0 to 239.255.255.255"},
      {R"({"kind": "tcp", "peer": "supply:5025"})", R"("supply:5025")", "IPv4"},
      {R"({"kind": "tcp", "peer": "10.0.0.2:5025", "timeout": "0 s"})", R"("0 s")", "10 ms"},
      {R"({"kind": "serial", "path": "/dev/x", "data_bits": 9})", "9}", "5 to 8"},
      {R"({"kind": "serial", "path": "/dev/x", "rs485": {"before": "1 s"}})", R"("1 s")", "100 ms"},
      {R"({"kind": "serial", "path": ""})", R"(""})", "a text"},
      {R"({"kind": "serial", "path": "/dev/x", "baud": 0})", "0}", "50 to 4000000"},
      {R"({"kind": "serial", "path": "/dev/x", "parity": "evn"})", R"("evn")", "'even'"},
      {R"({"kind": "serial", "path": "/dev/x", "stop_bits": 3})", "3}", "1 to 2"},
  }));
  CAPTURE(text);
  Problems problems;
  read(text, problems);
  REQUIRE(problems.count() == 1);
  const auto problem = problems.sorted().front();
  CAPTURE(problem.sentence());
  CHECK(problem.at.column == static_cast<int>(text.find(wrong)) + 1);
  CHECK(problem.sentence().find(allowed) != std::string::npos);
}

TEST_CASE("the kinds of link are known by name") {
  CHECK(link_kind("udp").entry.name == "udp");
  CHECK(link_kind("serial").entry.name == "serial");
  CHECK(link_kind("tcp").entry.name == "tcp");
}
