// Diagnosis against a unit that is written down here, over virtual time. The printed messages are those of ISO 14229-1
// as quoted in public worked examples (reading by status mask: 19 02 5A -> 59 02 FB ...; clearing: 14 FF FF FF -> 54).

#include "drivers/protocol/uds.hpp"

#include <array>
#include <chrono>
#include <functional>
#include <random>

#include "drivers/protocol/uds_messages.hpp"
#include "tests/protocol/allocations.hpp"
#include "tests/protocol/wire.hpp"

using namespace trackrod;
using namespace trackrod::testing;
using namespace std::chrono_literals;

namespace {

const std::string steering = R"({"kind": "uds", "timeout": "50 ms", "pending_timeout": "500 ms",
  "faults": {"every": "20 ms", "counts": "confirmed", "clear": "clear_faults",
             "codes": {"supply_low": "123456", "sensor_lost": "C40168"}},
  "values": {"temperature": {"id": "F40D", "start": 7, "bits": 8, "offset": -40, "every": "50 ms"},
             "current": {"id": "0110", "start": 15, "bits": 16, "signed": true, "scale": 0.01, "every": "50 ms"}},
  "identity": {"serial": "F18C", "software": "F189"}})";

// Steps of 1 ms. Each request is kept and given to `unit`; what that returns arrives `delay` later.
class Talk {
 public:
  using Answers = std::function<Bytes(const Bytes&)>;
  Talk(const std::string& settings, Answers how) : protocol{make(settings)}, unit{std::move(how)} {}

  void run(Duration time) {
    for (const auto end = now + time; now < end; now += 1ms) {
      for (std::size_t i = 0; i < coming.size();) {
        if (coming[i].first > now) {
          ++i;
          continue;
        }
        const auto arrived = coming[i].second;
        coming.erase(coming.begin() + static_cast<std::ptrdiff_t>(i));
        protocol->on_bytes(arrived, stamp(now), sink);
      }
      for (auto out = copy(protocol->due(at(now))); !out.empty(); out = copy(protocol->due(at(now)))) {
        sent.push_back(out);
        sent_at.push_back(now);
        const auto reply = unit(out);
        if (!reply.empty()) coming.emplace_back(now + delay, reply);
      }
      for (auto m = protocol->take_message(); m != 0; m = protocol->take_message()) {
        messages.push_back(m);
        windows.push_back(protocol->message_window());
      }
    }
  }
  FieldIndex field(const std::string& name) const { return index(*protocol, name); }
  std::vector<double> read(const std::string& name) const { return sink.of(field(name)); }
  std::size_t times(const Bytes& request) const {
    return static_cast<std::size_t>(std::count(sent.begin(), sent.end(), request));
  }

  std::unique_ptr<Protocol> protocol;
  Answers unit;
  Duration now{}, delay{4ms};
  std::vector<std::pair<Duration, Bytes>> coming;
  std::vector<Bytes> sent;
  std::vector<Duration> sent_at;
  std::vector<std::uint32_t> messages;
  std::vector<Window> windows;
  KeptFields sink;
};

// A unit with a fault memory.
struct FaultyUnit {
  std::vector<Bytes> faults;  // four bytes each
  int availability{0xFF};
  Bytes operator()(const Bytes& request) {
    const auto first = std::to_integer<int>(request[0]);
    if (first == 0x19) {
      auto answer = bytes({0x59, 0x02, availability});
      for (const auto& f : faults)
        if ((f[3] & request[2]) != std::byte{0})
          for (const auto b : f) answer.push_back(b);
      return answer;
    }
    if (request == bytes({0x14, 0xFF, 0xFF, 0xFF})) {
      faults.clear();
      return bytes({0x54});
    }
    if (request == bytes({0x22, 0xF4, 0x0D})) return bytes({0x62, 0xF4, 0x0D, 65});
    if (request == bytes({0x22, 0x01, 0x10})) return bytes({0x62, 0x01, 0x10, 0, 0xFF, 0x38});
    if (request == bytes({0x22, 0xF1, 0x8C})) return bytes({0x62, 0xF1, 0x8C, 'L', 'V', '3', '-', '9', 0, 0});
    if (request == bytes({0x22, 0xF1, 0x89})) return bytes({0x62, 0xF1, 0x89, 0x01, 0x0A});
    return bytes({0x7F, first, 0x31});
  }
};

const Bytes ask_faults = bytes({0x19, 0x02, 0x08});  // bit 3: confirmed

}  // namespace

TEST_CASE("values and texts are read by identifier") {
  Talk talk{steering, FaultyUnit{}};
  talk.run(500ms);
  CHECK(talk.read("temperature").size() >= 8);
  CHECK(talk.read("temperature").front() == 25.0);
  CHECK(talk.read("current").front() == -200 * 0.01);
  CHECK(talk.protocol->identity() == "serial: LV3-9\nsoftware: 010A");  // text, or bytes that are none
  CHECK(talk.times(bytes({0x22, 0xF1, 0x8C})) == 1);
  CHECK(talk.messages.empty());
  CHECK(talk.protocol->counters().timed_out == 0);
}

TEST_CASE("the usual texts are asked for when none are named, and those that are refused are left out") {
  Talk talk{R"({"kind": "uds"})", FaultyUnit{}};
  talk.run(500ms);
  CHECK(talk.sent == std::vector<Bytes>{bytes({0x22, 0xF1, 0x87}), bytes({0x22, 0xF1, 0x8C}), bytes({0x22, 0xF1, 0x91}),
                                        bytes({0x22, 0xF1, 0x89}), bytes({0x22, 0xF1, 0x95})});
  CHECK(talk.protocol->identity() == "serial: LV3-9\nsoftware: 010A");
  CHECK(talk.messages.empty());
  CHECK(talk.protocol->counters().refused == 3);
}

TEST_CASE("the printed fault memory is read: count, codes of their own, and an event for each entry") {
  // 59 02 FB 12 34 56 20 12 34 57 60: statuses 20 and 60, of which bit 5 counts here, and bit 6 for the second only.
  const auto settings = [](const std::string& counts) {
    return R"({"kind": "uds", "identity": {}, "faults": {"every": "20 ms", "counts": ")" + counts +
           R"(", "codes": {"first": "123456", "second": "123457"}}})";
  };
  const auto printed = [](const Bytes&) {
    return bytes({0x59, 0x02, 0xFB, 0x12, 0x34, 0x56, 0x20, 0x12, 0x34, 0x57, 0x60});
  };
  Talk both{settings("test_failed_since_last_clear"), printed};
  both.run(30ms);
  CHECK(both.sent.front() == bytes({0x19, 0x02, 0x20}));
  CHECK(both.read("fault_count").front() == 2.0);
  CHECK(both.read("first").front() == 1.0);
  CHECK(both.messages == std::vector<std::uint32_t>{0x20123456, 0x60123457});
  CHECK(both.protocol->describe_message(0x20123456) == "fault 123456 (P1234-56) 'first': test failed since last clear");

  Talk second{settings("test_not_completed_this_operation_cycle"), printed};
  second.run(30ms);
  CHECK(second.read("fault_count").front() == 1.0);
  CHECK(second.read("first").front() == 0.0);
  CHECK(second.read("second").front() == 1.0);

  // The printed availability mask FB has no bit 2.
  Talk none{settings("pending"), printed};
  none.run(100ms);
  CHECK(none.read("fault_count").empty());
  CHECK(none.messages == std::vector<std::uint32_t>{uds_bit_not_supported});
  CHECK(none.protocol->describe_message(uds_bit_not_supported).find("'pending'") != std::string::npos);
}

TEST_CASE("status bits and refusals are read in words, as the standard names them") {
  CHECK(uds_status_words(0x50) == "test not completed since last clear, test not completed this operation cycle");
  CHECK(uds_status_words(0xAF) ==
        "test failed, test failed this operation cycle, pending, confirmed, test failed since last clear, warning "
        "indicator requested");
  CHECK(uds_status_words(0) == "none");
  CHECK(uds_refusal_name(0x31) == "request out of range");
  CHECK(uds_refusal_name(0x78) == "request received, response pending");
  CHECK(uds_refusal_name(0xAB) == "code AB");
  CHECK(uds_code_text(0xC40168) == "C40168 (U0401-68)");  // letters of SAE J2012: from memory
}

TEST_CASE("a new entry came about after the last reading without it was asked, by the first one with it") {
  FaultyUnit unit;
  Talk talk{steering, std::ref(unit)};
  talk.run(207ms);
  CHECK(talk.messages.empty());
  unit.faults = {bytes({0x12, 0x34, 0x56, 0x09})};
  const auto happened = at(talk.now);
  talk.run(100ms);
  REQUIRE(talk.messages == std::vector<std::uint32_t>{0x09123456});
  const auto& window = talk.windows.front();
  CHECK(window.after <= happened);
  CHECK(window.by >= happened);
  CHECK(window.by - window.after <= 20ms + 4ms + 8ms);  // a cycle, the answer, and another question that was open
  // The same times are in the samples: the last 0 and the first 1.
  const auto supply_low = talk.field("supply_low");
  BenchTime last_clear{}, first_set{};
  for (const auto& t : talk.sink.all)
    if (t.field == supply_low) {
      if (t.value == 0.0) last_clear = t.stamp.when - t.stamp.uncertainty;
      if (t.value == 1.0 && first_set == BenchTime{}) first_set = t.stamp.when;
    }
  CHECK(last_clear == window.after);
  CHECK(first_set == window.by);
  CHECK(talk.read("sensor_lost").back() == 0.0);
}

TEST_CASE("what is in the memory at the first reading may be of any age") {
  FaultyUnit unit;
  unit.faults = {bytes({0x12, 0x34, 0x56, 0x08})};
  Talk talk{steering, std::ref(unit)};
  talk.run(50ms);
  REQUIRE(talk.messages.size() == 1);
  CHECK(talk.windows[0].after == BenchTime{});
  CHECK(talk.windows[0].by != BenchTime{});
}

TEST_CASE("an entry that goes and comes back is told again; one that stays is not") {
  FaultyUnit unit;
  Talk talk{steering, std::ref(unit)};
  unit.faults = {bytes({0x12, 0x34, 0x56, 0x08}), bytes({0xC4, 0x01, 0x68, 0x01})};  // the second is not confirmed
  talk.run(100ms);
  CHECK(talk.read("fault_count").back() == 1.0);
  unit.faults.clear();
  talk.run(100ms);
  CHECK(talk.read("fault_count").back() == 0.0);
  unit.faults = {bytes({0xC4, 0x01, 0x68, 0x08}), bytes({0x12, 0x34, 0x56, 0x08})};
  talk.run(100ms);
  CHECK(talk.messages == std::vector<std::uint32_t>{0x08123456, 0x08123456, 0x08C40168});
}

TEST_CASE("a reading that was not answered widens the window of the next one") {
  FaultyUnit unit;
  bool is_mute = false;
  Talk talk{steering, [&](const Bytes& request) { return is_mute ? Bytes{} : unit(request); }};
  talk.run(200ms);
  is_mute = true;
  const auto silent_from = at(talk.now);
  talk.run(120ms);
  unit.faults = {bytes({0x12, 0x34, 0x56, 0x08})};
  is_mute = false;
  talk.run(100ms);
  REQUIRE_FALSE(talk.messages.empty());
  CHECK(talk.messages.back() == 0x08123456);
  CHECK(talk.windows.back().after <= silent_from);
  CHECK(talk.messages.front() == uds_no_answer);
  CHECK(talk.messages.size() == 2);  // the silence is told once
}

TEST_CASE("the fault memory is cleared when the field goes to 1, and what comes after is new") {
  FaultyUnit unit;
  unit.faults = {bytes({0x12, 0x34, 0x56, 0x08})};
  Talk talk{steering, std::ref(unit)};
  talk.run(50ms);
  CHECK(talk.protocol->settled(talk.field("clear_faults")));
  talk.protocol->set(talk.field("clear_faults"), 1.0);
  CHECK_FALSE(talk.protocol->settled(talk.field("clear_faults")));
  const auto from = at(talk.now);
  talk.run(50ms);
  CHECK(talk.protocol->settled(talk.field("clear_faults")));
  CHECK(talk.times(bytes({0x14, 0xFF, 0xFF, 0xFF})) == 1);
  CHECK(talk.read("fault_count").back() == 0.0);
  talk.protocol->set(talk.field("clear_faults"), 1.0);  // still 1: not again
  unit.faults = {bytes({0x12, 0x34, 0x56, 0x08})};
  talk.run(50ms);
  CHECK(talk.times(bytes({0x14, 0xFF, 0xFF, 0xFF})) == 1);
  REQUIRE(talk.messages.size() == 2);
  CHECK(talk.windows[1].after >= from);
}

TEST_CASE("clearing that is refused is told once and tried again") {
  FaultyUnit unit;
  int refusals = 3;
  Talk talk{steering, [&](const Bytes& request) {
              if (request[0] == std::byte{0x14} && refusals-- > 0) return bytes({0x7F, 0x14, 0x22});
              return unit(request);
            }};
  talk.protocol->set(talk.field("clear_faults"), 1.0);
  talk.run(100ms);
  CHECK_FALSE(talk.protocol->settled(talk.field("clear_faults")));
  CHECK(talk.messages == std::vector<std::uint32_t>{uds_refused + 0x1422});
  CHECK(talk.protocol->describe_message(talk.messages[0]) ==
        "clearing of the fault memory refused: conditions not correct");
  talk.run(200ms);
  CHECK(talk.protocol->settled(talk.field("clear_faults")));
  CHECK(talk.messages.size() == 1);
}

TEST_CASE("a unit that says it takes longer is waited for, as long as it says so") {
  FaultyUnit unit;
  Talk talk{steering, [&](const Bytes& request) {
              if (request[0] != std::byte{0x14}) return unit(request);
              return bytes({0x7F, 0x14, 0x78});
            }};
  talk.protocol->set(talk.field("clear_faults"), 1.0);
  talk.run(20ms);
  for (int i = 0; i < 3; ++i) {  // three times 400 ms, each within the 500 ms that are allowed
    talk.run(400ms);
    talk.coming.emplace_back(talk.now, bytes({0x7F, 0x14, 0x78}));
  }
  CHECK(talk.protocol->counters().timed_out == 0);
  CHECK(talk.read("fault_count").empty());  // nothing else is asked meanwhile
  talk.coming.emplace_back(talk.now + 10ms, bytes({0x54}));
  talk.run(50ms);
  CHECK(talk.protocol->settled(talk.field("clear_faults")));
  CHECK_FALSE(talk.read("fault_count").empty());
}

TEST_CASE("a unit that says it takes longer for ever is given up") {
  Talk talk{R"({"kind": "uds", "identity": {}, "pending_timeout": "100 ms",
                "faults": {"every": "20 ms", "counts": "confirmed"}})",
            [](const Bytes&) {
              return bytes({0x7F, 0x19, 0x78});
            }};
  for (int i = 0; i < 50; ++i) {
    talk.run(50ms);
    talk.coming.emplace_back(talk.now, bytes({0x7F, 0x19, 0x78}));
  }
  CHECK(talk.protocol->counters().timed_out >= 2);  // after 12 times 100 ms each
}

TEST_CASE("a session is entered, kept alive without answers, and entered again when it was lost") {
  const std::string settings = R"({"kind": "uds", "identity": {}, "session": 3, "tester_present": "100 ms",
    "faults": {"every": "20 ms", "counts": "confirmed"}})";
  bool in_session = false;
  FaultyUnit unit;
  Talk talk{settings, [&](const Bytes& request) -> Bytes {
              if (request == bytes({0x10, 0x03})) {
                in_session = true;
                return bytes({0x50, 0x03, 0x00, 0x32, 0x01, 0xF4});  // P2 50 ms, P2* 5000 ms
              }
              if (request == bytes({0x3E, 0x80})) return {};
              if (!in_session) return bytes({0x7F, 0x19, 0x7F});
              return unit(request);
            }};
  talk.run(450ms);
  CHECK(talk.sent.front() == bytes({0x10, 0x03}));
  CHECK(talk.times(bytes({0x10, 0x03})) == 1);
  CHECK(talk.times(bytes({0x3E, 0x80})) == 4);
  CHECK(talk.read("fault_count").size() > 15);
  in_session = false;  // the unit was reset
  talk.run(100ms);
  CHECK(in_session);
  CHECK(talk.times(bytes({0x10, 0x03})) == 2);
  CHECK(talk.messages == std::vector<std::uint32_t>{uds_refused + 0x197F});
}

TEST_CASE("answers to other questions, cut and strange ones, are counted and not taken") {
  const auto p = make(R"({"kind": "uds", "identity": {}, "values": {
    "a": {"id": "0001", "start": 7, "bits": 16, "every": "10 ms"}}})");
  KeptFields sink;
  CHECK_FALSE(p->on_bytes(bytes({0x62, 0x00, 0x01, 1, 2}), stamp(0ms), sink));  // nobody asked
  CHECK(copy(p->due(at(1ms))) == bytes({0x22, 0x00, 0x01}));
  for (const auto& wrong :
       {bytes({}), bytes({0x62}), bytes({0x62, 0x00}), bytes({0x62, 0x00, 0x02, 1, 2}), bytes({0x62, 0x00, 0x01, 1}),
        bytes({0x59, 0x02, 0xFF}), bytes({0x7F, 0x19, 0x31}), bytes({0x7F, 0x22}), bytes({0x54})})
    CHECK_FALSE(p->on_bytes(wrong, stamp(2ms), sink));
  CHECK(sink.all.empty());
  CHECK(p->on_bytes(bytes({0x62, 0x00, 0x01, 1, 2}), stamp(3ms), sink));
  CHECK(sink.of(0) == std::vector<double>{258.0});
}

TEST_CASE("random messages do no harm to the diagnosis") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937 random{seed};
  const auto p = make(steering);
  KeptFields sink;
  for (int i = 0; i < 100000; ++i) {
    const auto now = 500us * i;
    p->set(index(*p, "clear_faults"), i / 50 % 2);
    const auto asked = copy(p->due(at(now)));
    Bytes b(random() % 40);
    for (auto& x : b) x = static_cast<std::byte>(random());
    if (!asked.empty() && !b.empty() && random() % 2 == 0) b[0] = asked[0] | std::byte{0x40};
    if (asked.size() > 2 && b.size() > 2 && random() % 2 == 0) b[1] = asked[1], b[2] = asked[2];
    if (random() % 8 == 0 && b.size() > 2) b.resize(3), b[0] = std::byte{0x7F};
    p->on_bytes(b, stamp(now), sink);
    p->describe_message(p->take_message());
    sink.all.clear();
  }
  for (const char c : p->identity()) CHECK((c == '\n' || (c >= ' ' && c <= '~')));
}

TEST_CASE("diagnosis allocates nothing after construction") {
  const auto p = make(steering);
  LastField sink;
  std::array<std::byte, 1023 * 4 + 3> full{std::byte{0x59}, std::byte{2}, std::byte{0xFF}};
  std::array<std::byte, 6> value{std::byte{0x62}};
  const auto before = allocations();
  for (int i = 0; i < 20000; ++i) {
    const auto now = 500us * i;
    p->set(3, i / 500 % 2);
    const auto out = p->due(at(now));
    if (out.size() == 3 && out[0] == std::byte{0x19}) {
      for (std::size_t k = 3; k < full.size(); ++k)
        full[k] = static_cast<std::byte>(k * 31 + static_cast<std::size_t>(i / 100));
      p->on_bytes(std::span{full}.first(i % 3 == 0 ? 3 : full.size()), stamp(now), sink);
    } else if (out.size() == 3) {
      std::copy_n(out.begin() + 1, 2, value.begin() + 1);
      p->on_bytes(value, stamp(now), sink);
    } else if (out.size() == 4) {
      const std::array cleared{std::byte{0x54}};
      p->on_bytes(cleared, stamp(now), sink);
    }
    p->take_message();
  }
  const auto after = allocations();
  CHECK(after == before);
  CHECK(sink.count > 1000);
}

TEST_CASE("wrong diagnostic settings are told with their places") {
  const auto problems_of = [](const std::string& text) {
    Chosen chosen;
    Problems problems;
    read_settings(text, chosen, problems);
    return problems.sorted().size();
  };
  CHECK(problems_of(steering) == 0);
  const auto faults = [](const std::string& more) {
    return R"({"kind": "uds", "faults": {"every": "20 ms", "counts": "confirmed", )" + more + "}}";
  };
  CHECK(problems_of(faults(R"("codes": {"a": "12345"})")) == 1);
  CHECK(problems_of(faults(R"("codes": {"a": "P12345"})")) == 1);
  CHECK(problems_of(faults(R"("codes": {"fault_count": "123456"})")) == 1);
  CHECK(problems_of(faults(R"("codes": {"a": "123456"}, "clear": "a")")) == 1);
  CHECK(problems_of(R"({"kind": "uds", "faults": {"every": "20 ms", "counts": "lit"}})") == 1);
  CHECK(problems_of(R"({"kind": "uds", "faults": {"every": "20 ms"}})") == 1);
  CHECK(problems_of(R"({"kind": "uds", "identity": {"serial": "0xF18C"}})") == 1);
  CHECK(problems_of(R"({"kind": "uds", "values": {"a": {"id": "F40D", "start": 4, "bits": 53, "order": "little",
    "every": "1 s"}}})") == 0);
  CHECK(problems_of(
            R"({"kind": "uds", "values": {"a": {"id": "F40", "start": 0, "bits": 8, "scale": 0, "every": "1 s"}}})") ==
        2);
}

TEST_CASE("an inspection reads the texts anew and the whole fault memory, with every status") {
  FaultyUnit unit{{bytes({0x12, 0x34, 0x56, 0x2F}), bytes({0xC4, 0x01, 0x68, 0x24}), bytes({0x12, 0x34, 0x57, 0x50})},
                  0xFF};
  std::string serial = "LV3-9";
  Talk talk{steering, [&](const Bytes& request) {
              if (request != bytes({0x22, 0xF1, 0x8C})) return unit(request);
              auto answer = bytes({0x62, 0xF1, 0x8C});
              for (const char c : serial) answer.push_back(static_cast<std::byte>(c));
              return answer;
            }};
  talk.run(300ms);
  CHECK_FALSE(talk.protocol->faults());  // nobody asked
  serial = "LV3-10";
  talk.protocol->inspect();
  CHECK_FALSE(talk.protocol->inspected());
  CHECK(talk.protocol->identity().empty());
  talk.run(300ms);
  CHECK(talk.protocol->inspected());
  CHECK(talk.protocol->identity() == "serial: LV3-10\nsoftware: 010A");
  CHECK(talk.times(bytes({0x19, 0x02, 0xAF})) == 1);
  const auto faults = talk.protocol->faults();
  REQUIRE(faults);
  REQUIRE(faults->size() == 2);  // of the third no test has run
  CHECK((*faults)[0].code == 0x123456);
  CHECK((*faults)[0].status == 0x2F);
  CHECK((*faults)[1].code == 0xC40168);
  CHECK((*faults)[1].status == 0x24);
}

TEST_CASE("an inspection ends when the unit refuses its fault memory, and nothing is known of it") {
  Talk talk{R"({"kind": "uds", "identity": {}})", [](const Bytes& request) {
              return bytes({0x7F, std::to_integer<int>(request[0]), 0x22});
            }};
  talk.protocol->inspect();
  talk.run(300ms);
  CHECK(talk.protocol->inspected());
  CHECK_FALSE(talk.protocol->faults());
}

TEST_CASE("an inspection of a silent unit does not end by itself") {
  Talk talk{R"({"kind": "uds", "identity": {}, "timeout": "50 ms"})", [](const Bytes&) { return Bytes{}; }};
  talk.protocol->inspect();
  talk.run(300ms);
  CHECK_FALSE(talk.protocol->inspected());
  CHECK(talk.times(bytes({0x19, 0x02, 0xAF})) > 3);
}
