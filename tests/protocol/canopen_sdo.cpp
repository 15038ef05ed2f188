// SDO transfers that go wrong, and values longer than a frame. Rules: CiA 301.

#include "drivers/protocol/canopen_sdo.hpp"

#include <algorithm>
#include <chrono>
#include <numeric>

#include "fixtures/simulator/canopen_dictionary.hpp"
#include "fixtures/simulator/canopen_sdo_server.hpp"
#include "tests/protocol/wire.hpp"

using namespace trackrod;
using namespace trackrod::testing;
using namespace std::chrono_literals;
using Kind = SdoResult::Kind;

namespace {

Bytes sent(SdoClient& sdo, Duration now = 1ms) { return copy(sdo.due(at(now))); }

// A device with a dictionary and nothing else.
struct Server final : SdoServer::Objects {
  ObjectDictionary objects;
  SdoServer sdo;

  std::uint32_t read_object(ObjectAddress object, Bytes& value) override {
    value = objects.bytes(object);
    return objects.why_not_read(object);
  }
  std::uint32_t write_object(ObjectAddress object, std::span<const std::byte> value) override {
    const auto code = objects.why_not_write(object, value);
    if (code == sdo_abort::none) objects.write(object, value);
    return code;
  }
};

// Lets client and server talk until the transfer ends.
SdoResult talk(SdoClient& client, Server& server) {
  for (int i = 0; i < 200; ++i) {
    if (const auto data = client.due(at(1ms)); !data.empty())
      if (const auto answer = server.sdo.take(data, server)) CHECK(client.take(*answer));
    if (const auto result = client.take_result(); result.kind != Kind::none) return result;
  }
  return {};
}

}  // namespace

TEST_CASE("values of every length are written and read back") {
  for (std::size_t size = 1; size <= 40; ++size) {
    CAPTURE(size);
    Server server;
    server.objects.add_text({0x2000, 3}, std::string(size, 'x'), Access::read_write);
    SdoClient client{10ms};
    Bytes value(size);
    for (std::size_t i = 0; i < size; ++i) value[i] = static_cast<std::byte>(3 * i + 1);
    client.write({0x2000, 3}, value);
    CHECK(talk(client, server).kind == Kind::written);
    CHECK(server.objects.bytes({0x2000, 3}) == value);
    client.read({0x2000, 3});
    CHECK(talk(client, server).kind == Kind::read);
    CHECK(copy(client.value()) == value);
  }
}

TEST_CASE("a device's abort ends the transfer with its code") {
  Server server;
  server.objects.add({0x1018, 1}, ObjectType::u32, 7, Access::read_only);
  server.objects.add({0x6040, 0}, ObjectType::u16, 0);
  SdoClient client{10ms};
  for (const auto& [object, code] :
       {std::pair{ObjectAddress{0x5FFF, 0}, 0x06020000U}, std::pair{ObjectAddress{0x1018, 9}, 0x06090011U}}) {
    client.read(object);
    const auto result = talk(client, server);
    CHECK(result.kind == Kind::aborted);
    CHECK(result.abort_code == code);
  }
  client.write({0x6040, 0}, Bytes(4));
  CHECK(talk(client, server).abort_code == 0x06070010);
  client.write({0x1018, 1}, Bytes(4));
  CHECK(talk(client, server).abort_code == 0x06010002);
}

TEST_CASE("silence ends in an abort to the device, and what comes later answers nothing") {
  SdoClient sdo{10ms};
  sdo.read({0x1018, 1});
  CHECK_FALSE(sent(sdo, 1ms).empty());
  CHECK(sent(sdo, 10ms).empty());
  CHECK(sent(sdo, 11ms) == bytes({0x80, 0x18, 0x10, 0x01, 0x00, 0x00, 0x04, 0x05}));  // 05040000: time-out
  CHECK(sdo.take_result().kind == Kind::no_answer);
  CHECK(sdo.idle());
  CHECK_FALSE(sdo.take(bytes({0x43, 0x18, 0x10, 0x01, 4, 0, 0, 0})));
  sdo.read({0x1018, 2});
  sent(sdo, 12ms);
  CHECK_FALSE(sdo.take(bytes({0x43, 0x18, 0x10, 0x01, 4, 0, 0, 0})));  // of the question before
  CHECK(sdo.take_result().kind == Kind::none);
  CHECK(sdo.take(bytes({0x43, 0x18, 0x10, 0x02, 7, 0, 0, 0})));
  CHECK(read_little(sdo.value()) == 7);
}

TEST_CASE("a toggle bit that does not alternate aborts the transfer") {
  SdoClient sdo{10ms};
  sdo.read({0x1008, 0});
  sent(sdo);
  sdo.take(bytes({0x41, 0x08, 0x10, 0x00, 20, 0, 0, 0}));
  sent(sdo);
  sdo.take(bytes({0x00, 1, 2, 3, 4, 5, 6, 7}));
  sent(sdo);
  CHECK(sdo.take(bytes({0x00, 1, 2, 3, 4, 5, 6, 7})));
  CHECK(sent(sdo) == bytes({0x80, 0x08, 0x10, 0x00, 0x00, 0x00, 0x03, 0x05}));
  const auto result = sdo.take_result();
  CHECK(result.kind == Kind::aborted);
  CHECK(result.abort_code == 0x05030000);
}

TEST_CASE("a value that is too long, or not as long as announced, is not taken") {
  SdoClient sdo{10ms};
  sdo.read({0x1008, 0});
  sent(sdo);
  CHECK(sdo.take(bytes({0x41, 0x08, 0x10, 0x00, 0x00, 0x01, 0x01, 0x00})));  // 65792 bytes
  CHECK(sdo.take_result().abort_code == 0x05040005);
  sent(sdo);
  sdo.read({0x1008, 0});
  sent(sdo);
  CHECK(sdo.take(bytes({0x40, 0x08, 0x10, 0x00, 0, 0, 0, 0})));  // endless: no length announced
  unsigned toggle = 0;
  SdoResult result;
  for (int i = 0; i < 100 && result.kind == Kind::none; ++i, toggle ^= 0x10) {
    sent(sdo);
    sdo.take(bytes({static_cast<int>(toggle), 1, 2, 3, 4, 5, 6, 7}));
    result = sdo.take_result();
  }
  CHECK(result.abort_code == 0x05040005);
  sent(sdo);
  sdo.read({0x1008, 0});
  sent(sdo);
  sdo.take(bytes({0x41, 0x08, 0x10, 0x00, 9, 0, 0, 0}));
  sent(sdo);
  sdo.take(bytes({0x01, 1, 2, 3, 4, 5, 6, 7}));  // the last, and only seven came
  CHECK(sdo.take_result().abort_code == 0x06070010);
}

TEST_CASE("numbers stand in objects as CiA 301 says: little-endian, two's complement, IEEE 754") {
  // By hand: -2 in 16 bits FFFE; 1.5 as single 3FC00000, as double 3FF8000000000000.
  CHECK(number_of(ObjectType::i16, 0xFFFE) == -2.0);
  CHECK(number_of(ObjectType::u16, 0xFFFE) == 65534.0);
  CHECK(number_of(ObjectType::f32, 0x3FC00000) == 1.5);
  CHECK(number_of(ObjectType::f64, 0x3FF8000000000000) == 1.5);
  CHECK(number_of(ObjectType::i64, ~0ULL) == -1.0);
  bool clamped = false;
  CHECK(raw_of(ObjectType::i16, -2.0, clamped) == 0xFFFE);
  CHECK(raw_of(ObjectType::f32, 1.5, clamped) == 0x3FC00000);
  CHECK(raw_of(ObjectType::f64, 1.5, clamped) == 0x3FF8000000000000);
  CHECK_FALSE(clamped);
  CHECK(raw_of(ObjectType::u8, 256.0, clamped) == 255);
  CHECK(clamped);
  CHECK(raw_of(ObjectType::i8, -1e300, clamped) == 0x80);
  CHECK(raw_of(ObjectType::i64, 1e300, clamped) == 0x7FFFFFFFFFFFFFFF);
  CHECK(raw_of(ObjectType::u64, 1e300, clamped) == ~0ULL);
  CHECK(raw_of(ObjectType::u64, 1.2e19, clamped) == 12000000000000000000ULL);
  CHECK(raw_of(ObjectType::f32, 1e300, clamped) == 0x7F7FFFFF);
  CHECK(clamped);
}
