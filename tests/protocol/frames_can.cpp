// Packed frames in CAN frames: which identifiers are wanted and sent, what goes onto the bus, and what does not fit it.

#include "drivers/protocol/frames_can.hpp"

#include "drivers/protocol/frames_settings.hpp"
#include "tests/protocol/wire.hpp"

using namespace trackrod;
using namespace trackrod::testing;

namespace {

constexpr const char* drive = R"({"kind": "frames",
  "receive": {
    "angle": {"length": 4, "can": {"id": "0x181"}, "counter": {"start": 24, "bits": 8},
              "fields": {"angle": {"start": 0, "bits": 16, "signed": true, "scale": 0.1}}},
    "fast": {"length": 12, "can": {"id": "0x18DA10F1", "extended": true, "fd": true, "bit_rate_switch": true},
             "fields": {"force": {"start": 80, "bits": 16}}}},
  "send": {
    "command": {"length": 2, "can": {"id": "0x201"}, "fields": {"speed": {"start": 0, "bits": 16}}, "cycle": "10 ms"},
    "wide": {"length": 16, "can": {"id": "0x202", "fd": true}, "fields": {"gain": {"start": 120, "bits": 8}},
             "cycle": "10 ms"}}})";

Bytes can(const CanFrame& frame) {
  std::array<std::byte, greatest_can_datagram> room;
  return copy(write_can(frame, room));
}

std::vector<Problem> over(const std::string& settings, Carries carries) {
  Chosen chosen;
  Problems problems;
  read_settings(settings, chosen, problems);
  for (const auto& k : protocol_table())
    if (k.entry.settings.name == chosen.kind)
      k.entry.over(chosen.value, carries, {"bench.json", 7, 15, "/link"}, problems);
  return problems.sorted();
}

}  // namespace

TEST_CASE("frames with identifiers want theirs and tell which ones they send") {
  const auto protocol = make(drive);
  const auto wanted = protocol->wanted(), sends = protocol->sends();
  REQUIRE(wanted.size() == 2);
  CHECK((wanted[0].id == 0x181 && wanted[0].mask == 0x7FF && !wanted[0].extended));
  CHECK((wanted[1].id == 0x18DA10F1 && wanted[1].mask == 0x1FFFFFFF && wanted[1].extended));
  REQUIRE(sends.size() == 2);
  CHECK((sends[0].id == 0x201 && sends[1].id == 0x202));
  const auto peer = make(drive, Side::peer);
  CHECK((peer->wanted().size() == 2 && peer->wanted()[0].id == 0x201 && peer->sends()[0].id == 0x181));
}

TEST_CASE("what is driven goes onto the bus under its identifier") {
  const auto protocol = make(drive);
  protocol->set(index(*protocol, "speed"), 0x1234);
  protocol->set(index(*protocol, "gain"), 0x56);
  const BenchTime now{std::chrono::seconds{1}};
  CHECK(copy(protocol->due(now)) == bytes({0, 0, 0x02, 0x01, 0, 0x34, 0x12}));
  const auto wide = copy(protocol->due(now));
  CHECK(wide == bytes({0, 0, 0x02, 0x02, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0x56}));
  CHECK(protocol->due(now).empty());
}

TEST_CASE("frames are taken by identifier, and those of others pass by uncounted") {
  const auto protocol = make(drive);
  KeptFields sink;
  const auto take = [&](const CanFrame& frame) {
    return protocol->on_bytes(can(frame), stamp(std::chrono::seconds{1}), sink);
  };
  const auto minus_one = bytes({0xF6, 0xFF, 0, 7});
  CHECK(take({0x181, false, false, false, false, false, false, minus_one}));
  CHECK(sink.of(index(*protocol, "angle")).back() == Approx(-1.0));

  CHECK_FALSE(take({0x182, false, false, false, false, false, false, minus_one}));  // another node's
  CHECK_FALSE(take({0x181, true, false, false, false, false, false, minus_one}));   // 29 bits: another identifier
  CHECK_FALSE(take({0x181, false, true, false, false, false, false, {}}));          // a request for it
  CHECK_FALSE(take({0x181, false, false, true, false, false, false, bytes({0, 4, 0, 0, 0, 0, 0, 0})}));  // bus trouble
  CHECK(protocol->counters().bad_length == 0);
  CHECK_FALSE(take({0x181, false, false, false, false, false, false, bytes({1, 2, 3})}));
  CHECK(protocol->counters().bad_length == 1);
  CHECK_FALSE(take({0x181, false, false, false, false, false, false, minus_one}));
  CHECK(protocol->counters().repeated == 1);

  // An FD frame is the same whatever its sender's bit rate and error state are.
  Bytes fast(12);
  fast[10] = std::byte{0x39};
  fast[11] = std::byte{0x05};
  CHECK(take({0x18DA10F1, true, false, false, true, false, true, fast}));
  CHECK(sink.of(index(*protocol, "force")).back() == 1337.0);
}

TEST_CASE("what CAN cannot carry, and frames that do not fit their link, are told with their place") {
  const auto settings = [](const std::string& frame) {
    Chosen chosen;
    Problems problems;
    read_settings("{\"kind\": \"frames\", \"receive\": {\"a\": {" + frame + "}}}", chosen, problems);
    std::string all;
    for (const auto& p : problems.sorted()) all += p.sentence() + "\n";
    return all;
  };
  CHECK(settings(R"("length": 8, "can": {"id": "0x7FF"})").empty());
  CHECK(settings(R"("length": 9, "can": {"id": "0x7FF"})").find("1 to 8 bytes in a CAN frame") != std::string::npos);
  CHECK(settings(R"("length": 13, "can": {"id": "0x7FF", "fd": true})").find("12, 16, 20") != std::string::npos);
  CHECK(settings(R"("length": 65, "can": {"id": "0x7FF", "fd": true})").find("found 65 bytes") != std::string::npos);
  CHECK(settings(R"("length": 64, "can": {"id": "0x7FF", "fd": true})").empty());
  CHECK(settings(R"("length": 8, "can": {"id": "0x800"})").find("more than 11 bits") != std::string::npos);
  CHECK(settings(R"("length": 8, "can": {"id": "0x800", "extended": true})").empty());
  CHECK(settings(R"("length": 8, "can": {"id": "0x20000000", "extended": true})").find("hexadecimal") !=
        std::string::npos);
  CHECK(settings(R"("length": 8, "can": {"id": "288"})").find("0x120") != std::string::npos);
  CHECK(settings(R"("length": 8, "can": {"id": 288})").find("0x120") != std::string::npos);
  CHECK(settings(R"("length": 8, "can": {"id": "0x1", "bit_rate_switch": true})").find("\"fd\": true") !=
        std::string::npos);
  CHECK(settings(R"("length": 8, "can": {"id": "0x12"}}, "b": {"length": 8, "can": {"id": "0x12"})")
            .find("cannot be told from 'a'") != std::string::npos);
  CHECK(settings(R"("length": 8, "can": {"id": "0x12"}}, "b": {"length": 8, "can": {"id": "0x12", "extended": true})")
            .empty());

  const std::string plain = "{\"kind\": \"frames\",\n \"receive\": {\"a\": {\"length\": 8}}}";
  CHECK(over(plain, Carries::datagrams).empty());
  CHECK(over(drive, Carries::can_frames).empty());
  const auto none = over(plain, Carries::can_frames);
  REQUIRE(none.size() == 1);
  CHECK((none[0].at.line == 2 && none[0].found.find("no identifier") != std::string::npos));
  const auto elsewhere = over(drive, Carries::datagrams);
  REQUIRE(elsewhere.size() == 4);
  CHECK((elsewhere[0].at.line == 3 && elsewhere[0].found.find("no CAN bus") != std::string::npos));
  const auto stream = over(plain, Carries::stream);
  REQUIRE(stream.size() == 1);
  CHECK((stream[0].at.path == "/link" && stream[0].allowed.find("\"stream\": true") != std::string::npos));
}
