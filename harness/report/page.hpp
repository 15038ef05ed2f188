#pragma once
// The parts of report.html, each a piece of well-formed markup. write_html puts them in order.

#include <initializer_list>
#include <string>
#include <string_view>
#include <vector>

#include "harness/report/html.hpp"

namespace trackrod::page {

// Markup made of text: <name class="...">escaped text</name>.
std::string element(std::string_view name, std::string_view text, std::string_view css_class = "");
// The same around markup that is ready.
std::string wrap(std::string_view name, const std::string& inside, std::string_view css_class = "");
std::string section(const std::string& title, const std::string& inside);
// Cells are markup. Nothing when there are no rows, except `none` as a paragraph.
std::string table(std::initializer_list<std::string_view> heads, const std::vector<std::vector<std::string>>& rows,
                  std::string_view none);
// Two columns: what and value, both text. Empty values read "not recorded".
std::string facts_table(const Facts& facts);
std::string bullet_list(const std::vector<std::string>& texts);

// The CSS class of a finding's verdict, and its word in a frame.
std::string verdict_class(const Finding& finding);
std::string verdict_badge(const Finding& finding);
// "12.3 µs", "4.56 ms", "12.3 s", "5 min 12 s", "8 h 0 min".
std::string span_text(Duration span);

// An address inside the page.
std::string link(const std::string& anchor, const std::string& inside, std::string_view css_class = "");

// findings
using Conditions = std::vector<std::pair<std::string, std::string>>;
// A sentence; nothing without any.
std::string conditions(const Conditions& all);
// What was measured in one step without a limit, in short. Conditions that all values share are told once.
std::string digest(const std::string& step, const std::vector<const Finding*>& findings);
// The uncertainty budget, folded; nothing without one.
std::string budget(const Finding& finding);
std::string requirements(const std::vector<Finding>& findings);
std::string findings(const std::vector<Finding>& findings);
// the sign-off matrix
std::string state_class(CellState state);
std::string matrices(const SignOff& sign_off);
std::string evidence(const SignOff& sign_off);
// the run
std::string calibrations(const Report& report);
std::string timing(const TimingQuality& timing);
std::string gaps(const Report& report);
// Nothing where the run did not trip.
std::string trip(const RunFacts& facts);
std::string run_facts(const Report& report);
std::string events(const std::vector<EventLine>& events);
// What a reader must bear in mind, found in the report itself: lapsed calibrations, missed ticks, gaps.
std::vector<std::string> found_cautions(const Report& report);

}  // namespace trackrod::page
