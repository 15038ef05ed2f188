#include "harness/report/findings_json.hpp"

#include <cmath>
#include <limits>
#include <random>

#include "tests/catch.hpp"
#include "tests/report/example.hpp"
#include "tests/report/judges.hpp"

using namespace trackrod;

namespace {

constexpr auto nan_value = std::numeric_limits<double>::quiet_NaN();
constexpr auto infinity = std::numeric_limits<double>::infinity();

// Python's reader, told to refuse the names NaN and Infinity that it otherwise takes, and the keys of design section 7.
const char* const strict_reader = R"py(
import json, sys
def refuse(name):
    sys.exit('not JSON (RFC 8259): ' + name)
text = open(sys.argv[1], encoding='utf-8').read()
findings = json.loads(text, parse_constant=refuse)['findings']
keys = ['name', 'step', 'signals', 'conditions', 'value', 'unit', 'standard_uncertainty', 'interval', 'coverage', 'limit', 'rule',
        'requirement', 'verdict', 'reason', 'budget']
for f in findings:
    if list(f) != keys:
        sys.exit('keys: %s' % list(f))
    if f['value'] is None and not f['reason']:
        sys.exit('no value and no reason')
    if f['interval'] is not None and not all(isinstance(x, float) or isinstance(x, int) for x in f['interval']):
        sys.exit('interval: %s' % f['interval'])
    if not isinstance(f['conditions'], dict) or not isinstance(f['budget'], list) or not isinstance(f['signals'], list):
        sys.exit('shape')
print(len(findings))
)py";

void check_same(const Finding& a, const Finding& b) {
  CHECK(a.name == b.name);
  CHECK(a.step == b.step);
  CHECK(a.signals == b.signals);
  CHECK(a.conditions == b.conditions);
  CHECK(a.value == b.value);
  CHECK(a.unit == b.unit);
  CHECK(a.standard_uncertainty == b.standard_uncertainty);
  CHECK(a.interval == b.interval);
  CHECK(a.coverage == b.coverage);
  CHECK(a.rule == b.rule);
  CHECK(a.requirement == b.requirement);
  CHECK(a.judged == b.judged);
  CHECK(a.verdict == b.verdict);
  CHECK(a.reason == b.reason);
  REQUIRE(a.limit.has_value() == b.limit.has_value());
  if (a.limit)
    CHECK((a.limit->kind == b.limit->kind && a.limit->low == b.limit->low && a.limit->high == b.limit->high));
  REQUIRE(a.budget.size() == b.budget.size());
  for (std::size_t i = 0; i < a.budget.size(); ++i) {
    CHECK(a.budget[i].name == b.budget[i].name);
    CHECK(a.budget[i].standard_uncertainty == b.budget[i].standard_uncertainty);
    CHECK(a.budget[i].degrees_of_freedom == b.budget[i].degrees_of_freedom);
    CHECK(a.budget[i].type == b.budget[i].type);
    CHECK(a.budget[i].distribution == b.budget[i].distribution);
    CHECK(a.budget[i].group == b.budget[i].group);
  }
}

}  // namespace

TEST_CASE("a strict reader of JSON finds the keys that other programs rely on, in their order") {
  const auto answer = judges::python(strict_reader, write_findings(example::findings()));
  CHECK(answer.said == "6\n");
  CHECK(answer.good);
}

TEST_CASE("no value that is not finite reaches findings.json") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937 random{seed};
  const double odd[] = {nan_value, infinity, -infinity, 1e308, -1e-320, 0.0};
  std::uniform_int_distribution<int> pick{0, 5};
  std::vector<Finding> findings;
  for (int i = 0; i < 300; ++i) {
    auto f = example::finding("x", odd[pick(random)], 1.0, "ms");
    f.standard_uncertainty = odd[pick(random)];
    f.interval = {odd[pick(random)], odd[pick(random)]};
    f.coverage = odd[pick(random)];
    f.limit = Limit{Limit::Kind::within, odd[pick(random)], odd[pick(random)]};
    f.budget[0].standard_uncertainty = odd[pick(random)];
    f.budget[0].degrees_of_freedom = odd[pick(random)];
    findings.push_back(f);
  }
  const auto answer = judges::python(strict_reader, write_findings(findings));
  CHECK(answer.said == "300\n");
  CHECK(answer.good);
}

TEST_CASE("what was written reads back the same, and is written the same again") {
  auto all = example::findings();
  all[0].name = "a \"name\" with \\ and\ncontrol \x01 and \xC3\xA9";
  all[0].value = 0.1 + 0.2;  // needs all 17 digits
  all[0].conditions.emplace_back("zebra", "before");
  all[0].conditions.emplace_back("apple", "after");
  const auto text = write_findings(all);
  const auto back = read_findings(text);
  REQUIRE(back.has_value());
  REQUIRE(back->size() == all.size());
  for (std::size_t i = 0; i < all.size(); ++i) {
    auto expected = all[i];
    check_same(expected, (*back)[i]);
  }
  CHECK(write_findings(*back) == text);
  CHECK(write_findings(all) == text);
}

TEST_CASE("bytes that are no UTF-8 become a sign of replacement") {
  auto all = example::findings();
  all[0].reason = "device said \xFF\xFE";
  const auto answer = judges::python(strict_reader, write_findings(all));
  CHECK(answer.said == "6\n");
  CHECK(answer.good);
}

TEST_CASE("a value without a reason is given one when it is missing") {
  auto f = example::finding("x", nan_value, 1.0, "ms");
  const auto back = read_findings(write_findings({f}));
  REQUIRE(back.has_value());
  CHECK_FALSE((*back)[0].value.has_value());
  CHECK((*back)[0].reason == "the score gave no number and no reason");
  f.reason = "the road wheel did not move";
  CHECK((*read_findings(write_findings({f})))[0].reason == "the road wheel did not move");
}

TEST_CASE("a broken findings.json is refused with the place") {
  const auto good = write_findings({example::findings()[0]});
  const auto changed = [&](const std::string& from, const std::string& to) {
    auto text = good;
    const auto at = text.find(from);
    REQUIRE(at != std::string::npos);
    return text.replace(at, from.size(), to);
  };
  struct Case {
    std::string text, part_of_message;
  };
  const std::vector<Case> cases{{"", "1:1"},
                                {"[]", "an object"},
                                {"{}", "findings"},
                                {"{\"findings\": 3}", "a list of findings"},
                                {"{\"findings\": [3]}", "an object"},
                                {good.substr(0, good.size() / 2), "findings.json"},
                                {changed("\"unit\"", "\"unti\""), "unit"},
                                {changed("\"verdict\": \"pass\"", "\"verdict\": \"good\""), "'pass'"},
                                {changed("\"kind\": \"at_most\"", "\"kind\": \"about\""), "at_most"},
                                {changed("43.71", "\"43.71\""), "a number or null"},
                                {changed("\"type\": \"B\"", "\"type\": \"C\""), "'A' or 'B'"},
                                {changed("\"hand.angle_ref\"", "7"), "a name"}};
  for (const auto& c : cases) {
    const auto back = read_findings(c.text);
    CAPTURE(c.text);
    REQUIRE_FALSE(back.has_value());
    CHECK(back.error().fault == Fault::bad_input);
    CAPTURE(back.error().context);
    CHECK(back.error().context.find(c.part_of_message) != std::string::npos);
  }
}
