#include "harness/report/html.hpp"

#include <limits>

#include "tests/catch.hpp"
#include "tests/report/example.hpp"
#include "tests/report/judges.hpp"

using namespace trackrod;

namespace {

bool has(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

}  // namespace

TEST_CASE("the report is well-formed, as HTML and as XML") {
  const auto page = write_html(example::report());
  const auto tags = judges::html(page);
  CAPTURE(tags.said);
  CHECK(tags.good);
  const auto tree = judges::xml(page.substr(page.find("<html")));
  CAPTURE(tree.said);
  CHECK(tree.good);
  const auto empty = judges::html(write_html(Report{}));
  CAPTURE(empty.said);
  CHECK(empty.good);
}

TEST_CASE("the report runs no script and asks no host") {
  const auto page = write_html(example::report());
  const auto tags = judges::html(page);
  for (const auto* tag : {"script", "link", "img", "iframe", "object", "a", "form"})
    CHECK_FALSE(has(" " + tags.said, " " + std::string{tag} + " "));
  for (const auto* part : {"src=", "href=", "url(", "@import", " style=", "onload", "javascript:"})
    CHECK_FALSE(has(page, part));
  auto rest = page;  // the only address is the name of the SVG language, which nobody fetches
  const std::string name = "http://www.w3.org/2000/svg";
  for (std::size_t at; (at = rest.find(name)) != std::string::npos;) rest.erase(at, name.size());
  CHECK_FALSE(has(rest, "http:"));
  CHECK_FALSE(has(rest, "https:"));
  CHECK(has(page, "default-src 'none'"));
}

TEST_CASE("the same report gives the same bytes") {
  CHECK(write_html(example::report()) == write_html(example::report()));
}

TEST_CASE("names with signs of markup stay text") {
  auto r = example::report();
  const std::string evil = "<evil a='1' b=\"2\">&amp;";
  auto& f = r.facts;
  f.run = f.plan = f.plan_file = f.plan_description = f.bench = f.bench_file = f.unit = f.unit_serial =
      f.unit_description = f.technician = f.ending = f.software = evil;
  f.host = f.hashes = {{evil, evil}};
  f.clamped = f.measures = f.wires = {{evil, evil}};
  f.equipment = {{evil, evil, evil, evil, evil}};
  f.deviations = f.cautions = {evil};
  f.events = {{Duration{}, evil}};
  for (auto& x : r.findings) {
    x.name = x.step = x.unit = x.requirement = x.reason = x.rule = evil;
    x.signals = {evil};
    x.conditions = {{evil, evil}};
    for (auto& c : x.budget) c.name = c.distribution = evil;
  }
  for (auto& x : r.figures) {
    x.title = x.x_label = x.y_label = evil;
    for (auto& c : x.curves) c.label = evil;
    for (auto& m : x.marks) m.label = evil;
  }
  for (auto& s : r.signals) s.name = s.location = s.unit = s.calibration.certificate = evil;
  for (auto& g : r.gaps) g.why = evil;
  const auto page = write_html(r);
  const auto tags = judges::html(page);
  CAPTURE(tags.said);
  CHECK(tags.good);
  CHECK_FALSE(has(tags.said, "evil"));
  CHECK_FALSE(has(page, "<evil"));
  CHECK(has(page, "&lt;evil a=&#39;1&#39; b=&quot;2&quot;&gt;&amp;amp;"));
}

TEST_CASE("the verdict and its counts come before everything else") {
  const auto page = write_html(example::report());
  const auto verdict = page.find("<strong>fail</strong>");
  REQUIRE(verdict != std::string::npos);
  CHECK(verdict < page.find("<h2>"));
  CHECK(verdict < page.find("Bear in mind"));
  for (const auto* count :
       {"<b>1</b> pass", "<b>1</b> fail", "<b>1</b> inconclusive", "<b>1</b> not run", "<b>2</b> without a limit"})
    CHECK(has(page, count));
  CHECK(has(page, "At least one finding breaks its limit."));
}

TEST_CASE("each overall verdict has its own words and frame") {
  auto r = example::report();
  const auto with = [&](std::vector<Finding> findings) {
    r.findings = std::move(findings);
    return write_html(r);
  };
  const auto all = example::findings();
  CHECK(has(with({all[0]}), "class=\"verdict pass\""));
  CHECK(has(with({all[2]}), "class=\"verdict inconclusive\""));
  CHECK(has(with({all[3]}), "class=\"verdict not-run\""));
  CHECK(has(with({all[4]}), "class=\"verdict unjudged\""));
  CHECK(has(with({}), "<strong>no verdict</strong>"));
}

TEST_CASE("what has no limit comes after what has one, and tells shared conditions once") {
  auto r = example::report();
  auto a = example::finding("step.rise", 20.0, 1.0, "ms"), b = example::finding("step.gain", 0.9, 0.1, "1");
  b.conditions.emplace_back("cycles", "6");
  r.findings = {a, example::findings()[0], b};
  const auto page = write_html(r);
  const auto rest = page.find("<h2>Measured without a limit</h2>");
  REQUIRE(rest != std::string::npos);
  CHECK(page.find("<h3>delay.dead_time</h3>") < rest);
  CHECK(page.find("<td>step.rise</td><td>20.0 ± 1.0 ms</td><td>19.0 to 21.0 ms</td><td>95 %</td>") > rest);
  CHECK(
      has(page,
          "<h3>step triangle-20</h3><p class=\"soft\">Conditions: vehicle.speed 40.0 km/h, hand_wheel position.</p>"));
  CHECK(has(page, "<td><p class=\"soft\">Conditions: cycles 6.</p>"));
}

TEST_CASE("a state or a count needs no calibration") {
  auto r = example::report();
  r.signals = {example::signal("hand.state", true, "", "")};
  CHECK(has(write_html(r), "was never calibrated"));
  r.signals[0].unit = "1";
  CHECK_FALSE(has(write_html(r), "was never calibrated"));
  CHECK(has(write_html(r), "nothing to calibrate"));
}

TEST_CASE("the report tells how the unit was held and with what equipment, and marks what had lapsed") {
  auto r = example::report();
  CHECK_FALSE(has(write_html(r), "How the unit was held"));
  r.facts.started = "2026-11-26T08:00:00Z";
  r.facts.clamped = {{"rack", "both ends on the table, stiffness 40 kN/mm"}};
  r.facts.measures = {{"rim_radius", "of the wheel: 0.19 m, standard uncertainty 0.5 mm"}};
  r.facts.wires = {{"supply_a", "X1 pin 3; 'relay.k1' closed: cut"}};
  r.facts.equipment = {{"load_cell", "load cell, 10 kN", "F-03", "2026-11-25", "K-1"},
                       {"supply", "power supply", "P-01", "2026-11-26", "K-2"},
                       {"table", "table of steel", "T-01", "", ""}};
  const auto page = write_html(r);
  CHECK(judges::html(page).good);
  for (const auto* words :
       {"How the unit was held", "of the wheel: 0.19 m", "X1 pin 3", "both ends on the table, stiffness 40 kN/mm",
        "F-03", "K-1", "2026-11-25, lapsed", "The calibration of the equipment &#39;load_cell&#39; was due on"})
    CHECK(has(page, words));
  CHECK_FALSE(has(page, "2026-11-26, lapsed"));  // on the day itself it is valid
  CHECK_FALSE(has(page, "equipment &#39;table&#39;"));
}

TEST_CASE("calibrations lapse by the date of the run, not of the reading") {
  auto r = example::report();
  r.signals = {example::signal("road.angle_ref", true, "2025-10-01", "2026-10-01")};
  const auto lapsed_on = [&](const std::string& started) {
    r.facts.started = started;
    return has(write_html(r), "LAPSED before this run");
  };
  CHECK_FALSE(lapsed_on("2026-09-30 23:59:59 +00:00"));
  CHECK_FALSE(lapsed_on("2026-10-01 08:00:00 +00:00"));  // the due day still counts
  CHECK(lapsed_on("2026-10-02 00:00:00 +00:00"));
  CHECK(lapsed_on("2031-01-01 00:00:00 +00:00"));
  CHECK_FALSE(lapsed_on("yesterday"));
  CHECK(has(write_html(r), "The date of the run is unknown"));
}

TEST_CASE("what a reader must bear in mind is at the top") {
  const auto page = write_html(example::report());
  const auto top = page.substr(0, page.find("<h2>"));
  CHECK(has(top, "&#39;road.angle_ref&#39; was due on 2026-10-01"));
  CHECK(has(top, "&#39;rack.force&#39; measures for the bench and was never calibrated"));
  CHECK_FALSE(has(top, "unit.motor_angle"));  // the unit's own sensor is not the bench's to calibrate
  CHECK(has(top, "missed 10 ticks"));
  CHECK(has(top, "1 gap (64 records lost)"));
  CHECK(has(top, "did not end as planned"));
  auto r = example::report();
  r.facts.rehearsal = true;
  CHECK(has(write_html(r), "Rehearsal."));
}

TEST_CASE("gaps, timing, budgets, hashes and the cautions are stated") {
  const auto page = write_html(example::report());
  for (const auto* part :
       {"120.000 s", "the ring between loop and keeper was full", "10 (0.0034 %)", "6 µs / 41 µs / 187 µs",
        "<details><summary>Uncertainty budget", "sensor calibration", "∞", "sha256:9f86d081", "never replaces it",
        "Local safety rules", "qualified people", "Lateness of the loop"})
    CHECK(has(page, part));
  CHECK(has(write_html(Report{}), "None was found"));
}

// JCGM 100, 5.2.2, note 1: with correlation +1 the contributions add with their signs before they are squared.
TEST_CASE("correlated lines of a budget share one share of the variance") {
  auto r = example::report();
  auto f = example::finding("x", 10.0, 1.0, "ms");
  f.budget = {example::line("alone", 3.0, 'B', "normal"), example::line("left", 7.0, 'B', "normal"),
              example::line("right", -3.0, 'B', "normal")};
  f.budget[1].group = f.budget[2].group = "clock";
  r.findings = {f};
  const auto page = write_html(r);  // 3^2 : (7 - 3)^2 = 9 : 16
  CHECK(has(page, "<td>36 %</td>"));
  CHECK(has(page, "<td>64 % (all of &#39;clock&#39;)</td>"));
  CHECK(has(page, "<td>with &#39;clock&#39;</td>"));
}

TEST_CASE("a number that does not exist is never printed as one") {
  auto r = example::report();
  const double none = std::numeric_limits<double>::quiet_NaN();
  for (auto& f : r.findings) {
    f.value = none;
    f.interval = {none, none};
    f.standard_uncertainty = none;
    f.coverage = none;
    for (auto& c : f.budget) c.standard_uncertainty = c.degrees_of_freedom = none;
  }
  const auto page = write_html(r);
  const auto body = page.substr(page.find("<body>"));
  CHECK_FALSE(has(body, "nan"));
  CHECK_FALSE(has(body, "inf "));
  CHECK(has(body, "no value"));
  CHECK(has(body, "not known"));
}
