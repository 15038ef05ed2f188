// Both our Modbus ends against libmodbus, over a real pseudo-terminal and a real TCP connection on the loopback.

#include <arpa/inet.h>
#include <fcntl.h>
#include <modbus/modbus.h>
#include <poll.h>
#include <pty.h>
#include <sys/socket.h>
#include <termios.h>
#include <unistd.h>

#include <array>
#include <atomic>
#include <cerrno>
#include <thread>

#include "tests/protocol/wire.hpp"

using namespace trackrod;
using namespace trackrod::testing;
using namespace std::chrono_literals;

namespace {

constexpr int unit = 17;

std::string drive(const std::string& transport) {
  return R"({"kind": "modbus", "transport": ")" + transport + R"(", "unit": 17, "timeout": "500 ms", "identify": true,
    "settings": {
      "torque": {"table": "holding", "address": 10, "type": "int16", "scale": 0.01},
      "position": {"table": "holding", "address": 20, "type": "int32"},
      "limit": {"table": "holding", "address": 30, "type": "float32", "words": "little"},
      "enable": {"table": "coil", "address": 5},
      "brake": {"table": "coil", "address": 6, "multiple": true}},
    "readings": {
      "speed": {"table": "input", "address": 100, "type": "int16", "scale": 0.1, "every": "10 ms"},
      "nowhere": {"table": "input", "address": 5000, "every": "50 ms"},
      "ready": {"table": "discrete", "address": 3, "every": "10 ms"}}})";
}

struct Descriptor {
  int fd{-1};
  ~Descriptor() {
    if (fd >= 0) close(fd);
  }
};

// A thread that ends with the test.
class Helper {
 public:
  template <class F>
  explicit Helper(F work) : thread_{[this, work = std::move(work)] { work(ending_); }} {}
  ~Helper() {
    ending_ = true;
    thread_.join();
  }

 private:
  std::atomic<bool> ending_{false};
  std::thread thread_;
};

struct Terminal {
  Terminal() {
    char name[256];
    termios raw{};
    cfmakeraw(&raw);
    REQUIRE(openpty(&ours.fd, &theirs.fd, name, &raw, nullptr) == 0);
    path = name;
  }
  Descriptor ours, theirs;  // theirs is kept open, so that the pair lives while libmodbus opens and closes it
  std::string path;
};

struct FreeContext {
  void operator()(modbus_t* c) const {
    modbus_close(c);
    modbus_free(c);
  }
};
using Context = std::unique_ptr<modbus_t, FreeContext>;
struct FreeMapping {
  void operator()(modbus_mapping_t* m) const { modbus_mapping_free(m); }
};
using Mapping = std::unique_ptr<modbus_mapping_t, FreeMapping>;

Context serial_context(const Terminal& terminal) {
  Context context{modbus_new_rtu(terminal.path.c_str(), 115200, 'N', 8, 1)};
  REQUIRE(context != nullptr);
  REQUIRE(modbus_set_slave(context.get(), unit) == 0);
  REQUIRE(modbus_connect(context.get()) == 0);
  return context;
}

// Serves until told to end.
void serve(modbus_t* context, modbus_mapping_t* mapping, const std::atomic<bool>& ending) {
  std::array<std::uint8_t, MODBUS_TCP_MAX_ADU_LENGTH> query;
  modbus_set_indication_timeout(context, 0, 50000);
  modbus_set_response_timeout(context, 0, 10000);  // it waits as long before it refuses an unknown function
  while (!ending) {
    const int size = modbus_receive(context, query.data());
    if (size > 0) modbus_reply(context, query.data(), size, mapping);
    if (size < 0 && (errno == ECONNRESET || errno == EBADF)) return;
  }
}

// Lets `protocol` talk over `fd` until `done`, in real time. False after five seconds.
template <class Done>
bool talk(Protocol& protocol, int fd, FieldSink& sink, Done&& done) {
  SteadyTime clock;
  const auto end = clock.now() + 5s;
  while (!done()) {
    if (clock.now() > end) return false;
    for (auto out = protocol.due(clock.now()); !out.empty(); out = protocol.due(clock.now()))
      if (write(fd, out.data(), out.size()) != static_cast<ssize_t>(out.size())) return false;
    pollfd waiting{fd, POLLIN, 0};
    if (poll(&waiting, 1, 1) <= 0) continue;
    std::array<std::byte, 512> in;
    const auto size = read(fd, in.data(), in.size());
    if (size > 0)
      protocol.on_bytes(std::span{in}.first(static_cast<std::size_t>(size)), {clock.now(), StampedBy::harness, 1ms},
                        sink);
  }
  return true;
}

int listen_on_loopback(std::uint16_t& port) {
  const int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
  sockaddr_in here{};
  here.sin_family = AF_INET;
  here.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  socklen_t size = sizeof here;
  REQUIRE(bind(fd, reinterpret_cast<sockaddr*>(&here), size) == 0);
  REQUIRE(listen(fd, 1) == 0);
  REQUIRE(getsockname(fd, reinterpret_cast<sockaddr*>(&here), &size) == 0);
  port = ntohs(here.sin_port);
  return fd;
}

// What our own end makes of libmodbus' server, whatever carries the messages.
void check_bench_end(const std::string& transport, int fd, const modbus_mapping_t& mapping) {
  const auto bench = make(drive(transport));
  KeptFields sink;
  bench->set(index(*bench, "torque"), -3.21);
  bench->set(index(*bench, "position"), -123456.0);
  bench->set(index(*bench, "limit"), 1.5);
  bench->set(index(*bench, "enable"), 1.0);
  bench->set(index(*bench, "brake"), 1.0);
  bool refused_read = false, refused_identity = false;
  const bool finished = talk(*bench, fd, sink, [&] {
    const auto message = bench->take_message();
    refused_read = refused_read || message == 0x402;
    // libmodbus has no device identification; on a serial line, where it cannot tell how long an unknown request is, it
    // says nothing.
    refused_identity = refused_identity || message == (transport == "tcp" ? 0x2B01U : 100001U);
    bool all_settled = true;
    for (const char* name : {"torque", "position", "limit", "enable", "brake"})
      all_settled = all_settled && bench->settled(index(*bench, name));
    return all_settled && refused_read && refused_identity && sink.of(index(*bench, "ready")).size() > 3 &&
           sink.of(index(*bench, "speed")).size() > 3;
  });
  CHECK(finished);
  CHECK(refused_read);
  CHECK(refused_identity);
  CHECK(bench->describe_message(0x402) == "refused to read input registers: illegal data address");
  CHECK(static_cast<std::int16_t>(mapping.tab_registers[10]) == -321);
  CHECK(static_cast<std::int32_t>(mapping.tab_registers[20] << 16 | mapping.tab_registers[21]) == -123456);
  CHECK(modbus_get_float_cdab(&mapping.tab_registers[30]) == 1.5F);
  CHECK(mapping.tab_bits[5] == 1);
  CHECK(mapping.tab_bits[6] == 1);
  CHECK(sink.of(index(*bench, "speed")).back() == Approx(-123.4));
  CHECK(sink.of(index(*bench, "ready")).back() == 1.0);
  CHECK(bench->counters().bad_checksum == 0);
  CHECK(bench->counters().bad_length == 0);
}

Mapping registers() {
  Mapping mapping{modbus_mapping_new(200, 200, 200, 200)};
  REQUIRE(mapping != nullptr);
  mapping->tab_input_registers[100] = static_cast<std::uint16_t>(-1234);
  mapping->tab_input_bits[3] = 1;
  return mapping;
}

// What libmodbus' client makes of our server end.
void check_device_end(modbus_t* client) {
  modbus_set_response_timeout(client, 2, 0);
  std::array<std::uint16_t, 4> words{};
  std::array<std::uint8_t, 4> bits{};
  CHECK(modbus_read_input_registers(client, 100, 1, words.data()) == 1);
  CHECK(static_cast<std::int16_t>(words[0]) == 777);
  CHECK(modbus_read_input_bits(client, 3, 1, bits.data()) == 1);
  CHECK(bits[0] == 1);
  CHECK(modbus_write_register(client, 10, 42) == 1);
  CHECK(modbus_read_registers(client, 10, 1, words.data()) == 1);
  CHECK(words[0] == 42);
  const std::array<std::uint16_t, 2> two{0xFFFE, 0x1DC0};  // -123456
  CHECK(modbus_write_registers(client, 20, 2, two.data()) == 2);
  CHECK(modbus_read_registers(client, 20, 2, words.data()) == 2);
  CHECK((words[0] == 0xFFFE && words[1] == 0x1DC0));
  CHECK(modbus_write_bit(client, 5, 1) == 1);
  const std::array<std::uint8_t, 2> on{1, 1};
  CHECK(modbus_write_bits(client, 5, 2, on.data()) == 2);
  CHECK(modbus_read_bits(client, 5, 2, bits.data()) == 2);
  CHECK((bits[0] == 1 && bits[1] == 1));
  CHECK(modbus_read_registers(client, 9000, 1, words.data()) == -1);
  CHECK(errno == EMBXILADD);
  CHECK(modbus_write_register(client, 11, 1) == -1);
  CHECK(errno == EMBXILADD);
}

std::unique_ptr<Protocol> device_end(const std::string& transport) {
  auto device = make(drive(transport), Side::peer);
  device->set(index(*device, "speed"), 77.7);
  device->set(index(*device, "ready"), 1.0);
  return device;
}

void check_written(Protocol& device, const KeptFields& taken) {
  CHECK(taken.of(index(device, "torque")) == std::vector<double>{42 * 0.01});
  CHECK(taken.of(index(device, "position")) == std::vector<double>{-123456.0});
  CHECK(taken.of(index(device, "enable")) == std::vector<double>{1.0, 1.0});
  CHECK(taken.of(index(device, "brake")) == std::vector<double>{1.0});
}

}  // namespace

TEST_CASE("our end talks to libmodbus' server over a terminal") {
  const Terminal terminal;
  const auto context = serial_context(terminal);
  const auto mapping = registers();
  const Helper server{[&](const std::atomic<bool>& ending) { serve(context.get(), mapping.get(), ending); }};
  check_bench_end("rtu", terminal.ours.fd, *mapping);
}

TEST_CASE("our end talks to libmodbus' server over TCP") {
  const Context context{modbus_new_tcp("127.0.0.1", 0)};
  REQUIRE(context != nullptr);
  const Descriptor listening{modbus_tcp_listen(context.get(), 1)};
  REQUIRE(listening.fd >= 0);
  sockaddr_in there{};
  socklen_t size = sizeof there;
  REQUIRE(getsockname(listening.fd, reinterpret_cast<sockaddr*>(&there), &size) == 0);
  const auto mapping = registers();
  const Descriptor ours{socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0)};
  REQUIRE(connect(ours.fd, reinterpret_cast<sockaddr*>(&there), size) == 0);
  int accepting = listening.fd;
  REQUIRE(modbus_tcp_accept(context.get(), &accepting) >= 0);
  const Helper server{[&](const std::atomic<bool>& ending) { serve(context.get(), mapping.get(), ending); }};
  check_bench_end("tcp", ours.fd, *mapping);
}

TEST_CASE("libmodbus' client talks to our server over a terminal") {
  const Terminal terminal;
  const auto device = device_end("rtu");
  KeptFields taken;
  {
    const auto client = serial_context(terminal);
    const Helper server{[&](const std::atomic<bool>& ending) {
      talk(*device, terminal.ours.fd, taken, [&] { return ending.load(); });
    }};
    check_device_end(client.get());
  }
  check_written(*device, taken);
}

TEST_CASE("libmodbus' client talks to our server over TCP") {
  std::uint16_t port = 0;
  const Descriptor listening{listen_on_loopback(port)};
  const auto device = device_end("tcp");
  KeptFields taken;
  {
    const Context client{modbus_new_tcp("127.0.0.1", port)};
    REQUIRE(client != nullptr);
    REQUIRE(modbus_set_slave(client.get(), unit) == 0);
    REQUIRE(modbus_connect(client.get()) == 0);
    const Descriptor ours{accept(listening.fd, nullptr, nullptr)};
    REQUIRE(ours.fd >= 0);
    const Helper server{
        [&](const std::atomic<bool>& ending) { talk(*device, ours.fd, taken, [&] { return ending.load(); }); }};
    check_device_end(client.get());
  }
  check_written(*device, taken);
}
