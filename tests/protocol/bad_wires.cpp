// Protocols over links that lose, repeat, cut and disturb. Every random test prints its seed.

#include <algorithm>
#include <chrono>
#include <random>

#include "tests/protocol/wire.hpp"

using namespace trackrod;
using namespace trackrod::testing;
using namespace std::chrono_literals;

namespace {

// 16-bit counter, so that no gap of these tests wraps; `number` tells which frame it was.
std::string settings(bool stream, const std::string& match = R"("match": {"start": 7, "bits": 8, "value": 85},)") {
  return std::string{R"({"kind": "frames", "stream": )"} + (stream ? "true" : "false") +
         R"(, "receive": {"status": {"length": 12, "order": "big", )" + match + R"(
              "counter": {"start": 15, "bits": 16},
              "checksum": {"kind": "CRC-32/ISO-HDLC", "at": 8},
              "fields": {"number": {"start": 31, "bits": 32}}}}})";
}

Bytes frame_of(Protocol& peer, std::uint64_t number) {
  peer.set(0, static_cast<double>(number));
  return copy(peer.due(at(1ms * static_cast<std::int64_t>(number))));
}

Bytes joined(const std::vector<Bytes>& pieces) {
  Bytes all;
  for (const auto& p : pieces) all.insert(all.end(), p.begin(), p.end());
  return all;
}

Bytes garbage(std::mt19937_64& random, std::size_t size) {
  Bytes b(size);
  for (auto& x : b) x = static_cast<std::byte>(random());
  return b;
}

}  // namespace

TEST_CASE("over datagrams that get lost, doubled and cut, every count is exact") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937_64 random{seed};
  const auto peer = make(settings(false), Side::peer);
  const auto bench = make(settings(false));
  KeptFields sink;
  std::vector<double> expected;
  std::uint64_t doubled = 0, cut = 0, lost = 0, lost_lately = 0;
  for (std::uint64_t i = 0; i < 20000; ++i) {
    const auto frame = frame_of(*peer, i);
    const auto fate = random() % 10;
    if (fate < 2) {
      ++lost_lately;
      if (fate == 0) continue;
      ++cut;
      CHECK_FALSE(bench->on_bytes(std::span{frame}.first(random() % frame.size()), stamp(1ms), sink));
      continue;
    }
    if (!expected.empty()) lost += lost_lately;
    lost_lately = 0;
    expected.push_back(static_cast<double>(i));
    CHECK(bench->on_bytes(frame, stamp(1ms), sink));
    if (fate > 7) {
      ++doubled;
      CHECK_FALSE(bench->on_bytes(frame, stamp(1ms), sink));
    }
  }
  CHECK(sink.of(0) == expected);
  CHECK(bench->counters().good == expected.size());
  CHECK(bench->counters().lost == lost);
  CHECK(bench->counters().repeated == doubled);
  CHECK(bench->counters().bad_length == cut);
  CHECK(bench->counters().bad_checksum == 0);
}

TEST_CASE("a stream gives the same frames in whatever pieces it comes") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937_64 random{seed};
  const auto peer = make(settings(true), Side::peer);
  std::vector<Bytes> frames;
  std::vector<double> expected;
  for (std::uint64_t i = 0; i < 500; ++i) {
    frames.push_back(frame_of(*peer, i));
    expected.push_back(static_cast<double>(i));
  }
  const auto all = joined(frames);
  for (std::size_t most : {std::size_t{1}, std::size_t{5}, std::size_t{40}, all.size()}) {
    const auto bench = make(settings(true));
    KeptFields sink;
    for (std::size_t from = 0; from < all.size();) {
      const auto size = most == all.size() || most == 1 ? most : 1 + random() % most;
      const auto piece = std::span{all}.subspan(from, std::min(size, all.size() - from));
      const auto before = bench->counters().good;
      const bool taken = bench->on_bytes(piece, stamp(1ms), sink);
      CHECK(taken == (bench->counters().good > before));
      from += piece.size();
    }
    CHECK(sink.of(0) == expected);
    CHECK(bench->counters().bad_checksum + bench->counters().bad_length == 0);
  }
}

TEST_CASE("garbage in front costs at most one good frame") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937_64 random{seed};
  const std::string kinds[] = {settings(true), settings(true, "")};  // with a match, and with the checksum alone
  for (int round = 0; round < 2000; ++round) {
    const auto& text = kinds[round % 2];
    const auto peer = make(text, Side::peer);
    const auto bench = make(text);
    auto prefix = garbage(random, random() % 60);
    for (auto& b : prefix)
      if (random() % 4 == 0) b = std::byte{85};  // many false beginnings
    const auto all = joined({prefix, frame_of(*peer, 1), frame_of(*peer, 2), frame_of(*peer, 3)});
    KeptFields sink;
    bench->on_bytes(all, stamp(1ms), sink);
    CHECK(sink.of(0).size() >= 2);
    CHECK(sink.of(0).back() == 3.0);
  }
}

TEST_CASE("over a stream that loses, doubles and changes bytes, no wrong value comes through and most good ones do") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937_64 random{seed};
  const auto peer = make(settings(true), Side::peer);
  const auto bench = make(settings(true));
  KeptFields sink;
  std::uint64_t undisturbed = 0;
  for (std::uint64_t i = 0; i < 20000; ++i) {
    auto frame = frame_of(*peer, i);
    const auto place = frame.begin() + static_cast<std::ptrdiff_t>(random() % frame.size());
    switch (random() % 20) {
      case 0:
        frame.erase(place);
        break;
      case 1:
        frame.insert(place, std::byte{85});
        break;
      case 2:
        *place ^= static_cast<std::byte>(1 + random() % 255);
        break;
      case 3:
        frame.resize(random() % frame.size());
        break;
      default:
        ++undisturbed;
    }
    bench->on_bytes(frame, stamp(1ms), sink);
  }
  const auto values = sink.of(0);
  CHECK(std::is_sorted(values.begin(), values.end()));
  CHECK(std::adjacent_find(values.begin(), values.end()) == values.end());
  CHECK(bench->counters().good == values.size());
  // An inserted byte in front of a frame disturbs nothing, so there may be a few more; a cut frame takes no good one
  // along.
  CHECK(values.size() >= undisturbed);
  CHECK(values.size() <= undisturbed + 20000 / 20);
  CHECK(bench->counters().lost + bench->counters().good ==
        static_cast<std::uint64_t>(values.back() - values.front()) + 1);
}

TEST_CASE("random bytes do no harm to any decoder") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937_64 random{seed};
  const std::string two_kinds = R"({"kind": "frames", "stream": true, "receive": {
    "short": {"length": 3, "match": {"start": 0, "bits": 1, "value": 0}, "fields": {"a": {"start": 1, "bits": 23, "signed": true}}},
    "long": {"length": 30, "match": {"start": 0, "bits": 1, "value": 1}, "checksum": {"kind": "XOR-8", "at": 29},
             "counter": {"start": 3, "bits": 2}, "fields": {"b": {"start": 47, "bits": 53, "order": "big"}}}}})";
  const std::string supply = R"({"kind": "scpi", "settings": {"voltage": {"write": "VOLT {}", "read_back": "VOLT?"}},
    "readings": {"measured": {"query": "MEAS:VOLT?", "every": "1 ms"}}, "timeout": "5 ms"})";
  for (const auto& text : {settings(false), settings(true), settings(true, ""), two_kinds, supply})
    for (const auto side : {Side::bench, Side::peer}) {
      const auto p = make(text, side);
      if (p == nullptr) continue;  // scpi has no peer
      KeptFields sink;
      Duration now{};
      for (int i = 0; i < 100000; ++i) {
        auto b = garbage(random, random() % 50);
        // Half of the buffers are made of what the decoders look for.
        if (i % 2 == 0)
          for (auto& x : b) x = static_cast<std::byte>("\n\r,?0-.E+V\x55\x01"[random() % 12]);
        p->set(0, static_cast<double>(random() % 100));
        p->on_bytes(b, stamp(now), sink);
        for (int n = 0; n < 5 && !p->due(at(now)).empty(); ++n) {
        }
        p->take_message();
        now += 100us;
        sink.all.clear();
      }
    }
  SUCCEED("nothing crashed");
}
