#pragma once
// One function a score: its line of the table in table.cpp.

#include "harness/score/score.hpp"

namespace trackrod {

ScoreKind step_score();
ScoreKind delay_score();
ScoreKind hysteresis_score();
ScoreKind bus_score();
ScoreKind polarity_score();
ScoreKind ratio_score();
ScoreKind frequency_score();
ScoreKind play_score();
ScoreKind skew_score();
ScoreKind end_stop_score();
ScoreKind run_on_score();
ScoreKind following_score();
ScoreKind feedback_score();
ScoreKind supply_score();
ScoreKind degraded_score();
ScoreKind drift_score();

}  // namespace trackrod
