// The fields that every device has, whatever its protocol.

#include "tests/bench/demo.hpp"
#include "tests/catch.hpp"

using namespace trackrod;
using namespace trackrod::test;

namespace {

// The demo bench with a text put in front of another.
std::string demo_with(const std::string& before, const std::string& text) {
  auto all = demo_text();
  const auto at = all.find(before);
  REQUIRE(at != std::string::npos);
  return all.insert(at, text);
}

std::string signal(const std::string& field, const std::string& rest) {
  return demo_with(R"("hand.angle": )", R"("hand.watched": {"device": "hand", "field": ")" + field + R"(", )" + rest +
                                            R"(, "range": ["0", "1000"]}, )");
}

}  // namespace

TEST_CASE("a signal can name a figure of its device's link, and an interlock that signal") {
  auto text = signal("link.lost", R"("unit": "1", "direction": "read", "bench_owned": true)");
  const std::string interlocks = R"("interlocks": {)";
  text.insert(text.find(interlocks) + interlocks.size(),
              R"("hand_losses": {"signal": "hand.watched", "at_most": "3", "grace": "1 ms", "protects": "the axis"},)");
  const auto parsed = parse(text);
  INFO(parsed.sentences());
  REQUIRE(parsed.bench);
  const auto index = parsed.bench->find("hand.watched");
  REQUIRE(index);
  CHECK(parsed.bench->signals[*index].field == "link.lost");
  CHECK(parsed.bench->signals[*index].info.resolution == 1.0);
  CHECK(parsed.bench->interlocks.front().condition.signal == *index);
}

TEST_CASE("a figure of the link cannot be driven, and a misspelt one is named with the nearest") {
  auto parsed = parse(signal("link.lost", R"("unit": "1", "direction": "drive", "rest": "0")"));
  CHECK(parsed.sentences().find("the field 'link.lost' of device 'hand' is only read") != std::string::npos);
  parsed = parse(signal("link.agee", R"("unit": "ms", "direction": "read")"));
  CHECK(parsed.sentences().find("did you mean 'link.age'?") != std::string::npos);
}

TEST_CASE("a protocol may not take the name of a figure of the link") {
  const auto parsed = parse(demo_with(R"("torque": {"start": 40)", R"("link.age": {"start": 96, "bits": 8}, )"));
  CHECK(parsed.sentences().find("this protocol has a field 'link.age'") != std::string::npos);
}
