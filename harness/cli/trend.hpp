#pragma once
// How a finding went over units and dates, as a figure. Pure.

#include "harness/base/error.hpp"
#include "harness/ledger/ledger.hpp"
#include "harness/score/score.hpp"

namespace trackrod {

// `findings`: of one name, in the order of time. A curve for each unit, plan, step and set of signals; its name says in
// what it differs from the others. x: the time since the first run. Limits are marks. Error kind bad_input when
// the values are not all in one unit, or there are none.
Result<Figure> trend_figure(const std::vector<HistoryFinding>& findings);

}  // namespace trackrod
