// A simulated CANopen device, frame by frame. The bytes are worked out by hand from the frame layouts of CiA 301 (from
// memory: command specifiers, transmission types, abort and error codes); published ones stand in
// tests/published/canopen.cpp.

#include "fixtures/simulator/canopen_node.hpp"

#include "tests/plant/canopen_bus.hpp"

using namespace trackrod;
using namespace trackrod::testing;

namespace {

// Number 5, of no profile: 2000:01 to 03 are numbers, 2001:00 is a text.
struct Device {
  CanopenNode node{5, 0x12345678, "a node"};
  CanopenBus bus{node};

  Device() {
    node.objects().set({0x1018, 1}, 0x11223344);
    node.objects().add({0x2000, 1}, ObjectType::u8, 0x11);
    node.objects().add({0x2000, 2}, ObjectType::i16, 0x2233);
    node.objects().add({0x2000, 3}, ObjectType::u32, 0x44556677);
    node.objects().limit({0x2000, 2}, -100, 100);
    node.objects().add_text({0x2001, 0}, "0123456789", Access::read_write);
    node.store();
    node.power_on();
    bus.answers();
  }
  void start() { bus.send(0x000, {0x01, 5}); }
};

}  // namespace

TEST_CASE("a node says that it is there, and then how it is, as often as it is told") {
  CanopenNode node{5, 0, "a node"};
  CanopenBus bus{node};
  node.power_on();
  CHECK(bus.answers() == BusFrames{{0x705, {0x00}}});
  CHECK(bus.wait(1s).empty());
  bus.send(0x605, {0x2B, 0x17, 0x10, 0x00, 0x0A, 0x00, 0, 0});  // 10 ms, and the first one at once
  CHECK(bus.answers() == BusFrames{{0x585, {0x60, 0x17, 0x10, 0x00, 0, 0, 0, 0}}, {0x705, {0x7F}}});
  const auto beats = bus.wait(100ms);
  CHECK(beats.size() == 10);
  CHECK(beats.back() == BusFrame{0x705, {0x7F}});
  bus.send(0x000, {0x01, 5});
  CHECK(bus.wait(10ms).back() == BusFrame{0x705, {0x05}});
  bus.send(0x000, {0x02, 0});  // all nodes
  CHECK(bus.wait(10ms).back() == BusFrame{0x705, {0x04}});
  bus.send(0x000, {0x80, 6});  // another one
  CHECK(bus.wait(10ms).back() == BusFrame{0x705, {0x04}});
  bus.send(0x000, {0x80, 5});
  CHECK(bus.wait(10ms).back() == BusFrame{0x705, {0x7F}});
  for (const int reset : {0x81, 0x82}) {
    bus.send(0x000, {reset, 5});
    CHECK(bus.wait(100ms) == BusFrames{{0x705, {0x00}}});  // as stored: no heartbeat
  }
}

TEST_CASE("entries of up to four bytes are read and written in one frame") {
  Device d;
  CHECK(d.bus.ask(0x605, {0x40, 0x18, 0x10, 0x01, 0, 0, 0, 0}) ==
        BusFrame{0x585, {0x43, 0x18, 0x10, 0x01, 0x44, 0x33, 0x22, 0x11}});
  CHECK(d.bus.ask(0x605, {0x40, 0x00, 0x20, 0x01, 0, 0, 0, 0}) ==
        BusFrame{0x585, {0x4F, 0x00, 0x20, 0x01, 0x11, 0, 0, 0}});
  CHECK(d.bus.ask(0x605, {0x40, 0x00, 0x20, 0x02, 0, 0, 0, 0}) ==
        BusFrame{0x585, {0x4B, 0x00, 0x20, 0x02, 0x33, 0x22, 0, 0}});
  CHECK(d.bus.ask(0x605, {0x2F, 0x00, 0x20, 0x01, 0x99, 0, 0, 0}) ==
        BusFrame{0x585, {0x60, 0x00, 0x20, 0x01, 0, 0, 0, 0}});
  CHECK(d.node.objects().raw({0x2000, 1}) == 0x99);
}

TEST_CASE("longer entries go in segments of seven bytes, whose toggle bit alternates") {
  Device d;
  CHECK(d.bus.ask(0x605, {0x40, 0x01, 0x20, 0x00, 0, 0, 0, 0}) ==
        BusFrame{0x585, {0x41, 0x01, 0x20, 0x00, 10, 0, 0, 0}});
  CHECK(d.bus.ask(0x605, {0x60, 0, 0, 0, 0, 0, 0, 0}) == BusFrame{0x585, {0x00, '0', '1', '2', '3', '4', '5', '6'}});
  CHECK(d.bus.ask(0x605, {0x70, 0, 0, 0, 0, 0, 0, 0}) == BusFrame{0x585, {0x19, '7', '8', '9', 0, 0, 0, 0}});

  CHECK(d.bus.ask(0x605, {0x21, 0x01, 0x20, 0x00, 10, 0, 0, 0}) ==
        BusFrame{0x585, {0x60, 0x01, 0x20, 0x00, 0, 0, 0, 0}});
  CHECK(d.bus.ask(0x605, {0x00, 'a', 'b', 'c', 'd', 'e', 'f', 'g'}) == BusFrame{0x585, {0x20, 0, 0, 0, 0, 0, 0, 0}});
  CHECK(d.bus.ask(0x605, {0x19, 'h', 'i', 'j', 0, 0, 0, 0}) == BusFrame{0x585, {0x30, 0, 0, 0, 0, 0, 0, 0}});
  CHECK(d.node.objects().bytes({0x2001, 0}).back() == std::byte{'j'});

  // The same toggle bit twice: 05030000.
  d.bus.ask(0x605, {0x40, 0x01, 0x20, 0x00, 0, 0, 0, 0});
  d.bus.ask(0x605, {0x60, 0, 0, 0, 0, 0, 0, 0});
  CHECK(d.bus.ask(0x605, {0x60, 0, 0, 0, 0, 0, 0, 0}) ==
        BusFrame{0x585, {0x80, 0x01, 0x20, 0x00, 0x00, 0x00, 0x03, 0x05}});
}

TEST_CASE("what cannot be is refused with the code that says why") {
  Device d;
  const auto refusal = [&](std::vector<int> request) {
    const auto answer = d.bus.ask(0x605, request);
    REQUIRE((answer.id == 0x585 && answer.data[0] == 0x80));
    return static_cast<unsigned>(answer.data[4] | answer.data[5] << 8 | answer.data[6] << 16 | answer.data[7] << 24);
  };
  CHECK(refusal({0x40, 0x00, 0x30, 0x00, 0, 0, 0, 0}) == 0x06020000);        // no such object
  CHECK(refusal({0x40, 0x00, 0x20, 0x09, 0, 0, 0, 0}) == 0x06090011);        // no such sub-index
  CHECK(refusal({0x23, 0x18, 0x10, 0x01, 0, 0, 0, 0}) == 0x06010002);        // can only be read
  CHECK(refusal({0x23, 0x00, 0x20, 0x01, 0, 0, 0, 0}) == 0x06070010);        // four bytes into one
  CHECK(refusal({0x2B, 0x00, 0x20, 0x02, 0x65, 0, 0, 0}) == 0x06090031);     // 101
  CHECK(refusal({0x2B, 0x00, 0x20, 0x02, 0x9B, 0xFF, 0, 0}) == 0x06090032);  // -101
  CHECK(refusal({0x60, 0, 0, 0, 0, 0, 0, 0}) == 0x05040001);                 // a segment of nothing
  CHECK(refusal({0xE0, 0, 0, 0, 0, 0, 0, 0}) == 0x05040001);                 // no command
  d.bus.send(0x000, {0x02, 5});
  d.bus.send(0x605, {0x40, 0x00, 0x20, 0x01, 0, 0, 0, 0});
  CHECK(d.bus.answers().empty());  // stopped
}

TEST_CASE("PDOs are mapped over the bus in the published order, and not in another") {
  Device d;
  const auto written = [&](std::vector<int> request) { return d.bus.ask(0x605, request).data[0] == 0x60; };
  CHECK(written({0x2F, 0x00, 0x1A, 0x00, 0, 0, 0, 0}));                    // not in use: no entries
  CHECK(written({0x23, 0x00, 0x1A, 0x01, 0x10, 0x02, 0x00, 0x20}));        // 2000:02, 16 bits
  CHECK(written({0x23, 0x00, 0x1A, 0x02, 0x08, 0x01, 0x00, 0x20}));        // 2000:01, 8 bits
  CHECK_FALSE(written({0x23, 0x00, 0x1A, 0x03, 0x08, 0x00, 0x00, 0x30}));  // no such object
  CHECK(written({0x2F, 0x00, 0x1A, 0x00, 2, 0, 0, 0}));                    // two
  CHECK_FALSE(written({0x23, 0x00, 0x1A, 0x01, 0x08, 0x01, 0x00, 0x20}));  // the number comes first
  CHECK(written({0x2F, 0x00, 0x18, 0x02, 1, 0, 0, 0}));                    // at each SYNC
  CHECK(written({0x23, 0x00, 0x18, 0x01, 0x85, 0x01, 0x00, 0x00}));        // in use, as 185h
  CHECK_FALSE(written({0x2F, 0x00, 0x1A, 0x00, 1, 0, 0, 0}));              // in use
  CHECK_FALSE(written({0x23, 0x00, 0x18, 0x01, 0x86, 0x01, 0x00, 0x00}));  // in use: another identifier
  d.bus.send(0x080, {});
  CHECK(d.bus.answers().empty());  // pre-operational
  d.start();
  CHECK(d.bus.ask(0x080, {}) == BusFrame{0x185, {0x33, 0x22, 0x11}});
}

TEST_CASE("a PDO comes at each SYNC, at each few, with a change, or by its timer") {
  Device d;
  const std::uint32_t entry[] = {0x20000108};
  d.node.map_sent(0, entry, 1);
  d.node.map_sent(1, entry, 3);
  d.node.map_sent(2, entry, 0);
  d.node.map_sent(3, entry, 254, 10ms);
  d.start();
  CHECK(d.bus.answers() == BusFrames{{0x485, {0x11}}});
  std::vector<std::size_t> by_id(4);
  for (int i = 1; i <= 9; ++i) {
    if (i == 5) d.node.objects().set({0x2000, 1}, 0x22);
    d.bus.send(0x080, {});
    for (const auto& f : d.bus.answers()) ++by_id.at((f.id - 0x185) / 0x100);
  }
  CHECK(by_id == std::vector<std::size_t>{9, 3, 2, 0});
  CHECK(d.bus.wait(100ms) == BusFrames(10, BusFrame{0x485, {0x22}}));

  d.node.map_sent(3, entry, 255);
  CHECK(d.bus.wait(100ms).empty());
  d.node.objects().set({0x2000, 1}, 0x33);
  CHECK(d.bus.wait(5ms) == BusFrames{{0x485, {0x33}}});
}

TEST_CASE("what a PDO brings counts at once, or from the next SYNC on") {
  Device d;
  const std::uint32_t entries[] = {0x00050008, 0x20000108};  // eight bits of nothing, then 2000:01
  d.node.map_taken(0, entries, 255);
  d.node.map_taken(1, entries, 1);
  d.bus.send(0x205, {0, 0x77});
  CHECK(d.node.objects().raw({0x2000, 1}) == 0x11);  // pre-operational
  d.start();
  d.bus.send(0x205, {0, 0x77});
  CHECK(d.node.objects().raw({0x2000, 1}) == 0x77);
  d.bus.send(0x305, {0, 0x88});
  CHECK(d.node.objects().raw({0x2000, 1}) == 0x77);
  d.bus.send(0x080, {});
  CHECK(d.node.objects().raw({0x2000, 1}) == 0x88);
}

TEST_CASE("a PDO of another length is told by an emergency, and an error stays in the history until it is emptied") {
  Device d;
  const std::uint32_t entry[] = {0x20000210};
  d.node.map_taken(0, entry, 255);
  d.start();
  // Too short, not used: 8210; communication and generic bits of the register.
  CHECK(d.bus.ask(0x205, {0x01}) == BusFrame{0x085, {0x10, 0x82, 0x11, 0, 0, 0, 0, 0}});
  CHECK(d.node.objects().raw({0x2000, 2}) == 0x2233);
  // Too long, used as far as it is mapped: 8220.
  CHECK(d.bus.ask(0x205, {0x01, 0x00, 0x55}) == BusFrame{0x085, {0x20, 0x82, 0x11, 0, 0, 0, 0, 0}});
  CHECK(d.node.objects().raw({0x2000, 2}) == 1);
  CHECK(d.bus.ask(0x605, {0x40, 0x03, 0x10, 0x00, 0, 0, 0, 0}).data[4] == 2);
  CHECK(d.bus.ask(0x605, {0x40, 0x03, 0x10, 0x01, 0, 0, 0, 0}) ==
        BusFrame{0x585, {0x43, 0x03, 0x10, 0x01, 0x20, 0x82, 0, 0}});  // the newest first
  CHECK(d.bus.ask(0x605, {0x2F, 0x03, 0x10, 0x00, 1, 0, 0, 0}).data[0] == 0x80);
  CHECK(d.bus.ask(0x605, {0x2F, 0x03, 0x10, 0x00, 0, 0, 0, 0}).data[0] == 0x60);
  CHECK(d.node.objects().raw({0x1003, 1}) == 0);
  d.node.end_emergency();
  CHECK(d.bus.answers() == BusFrames{{0x085, {0, 0, 0, 0, 0, 0, 0, 0}}});
}

TEST_CASE("a node that misses the heartbeat it watches says so and leaves operational") {
  Device d;
  d.bus.ask(0x605, {0x23, 0x16, 0x10, 0x01, 0x32, 0x00, 0x7F, 0x00});  // node 127, 50 ms
  d.start();
  CHECK(d.bus.wait(200ms).empty());  // not heard yet: not missed
  d.bus.send(0x77F, {0x05});
  CHECK(d.bus.wait(50ms).empty());
  CHECK(d.bus.wait(50ms) == BusFrames{{0x085, {0x30, 0x81, 0x11, 0, 0, 0, 0, 0}}});
  CHECK(d.node.nmt_state() == NmtState::pre_operational);
  d.bus.send(0x77F, {0x05});
  CHECK(d.bus.answers() == BusFrames{{0x085, {0, 0, 0, 0, 0, 0, 0, 0}}});
}
