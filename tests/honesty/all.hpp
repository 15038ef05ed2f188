#pragma once
// Every population, each in a file with those that simulate the like.

#include "tests/honesty/population.hpp"

namespace trackrod::test {

Population step_answers();
Population fast_step_answers();
Population well_damped_step_answers();
Population delays();
Population delays_with_friction();
Population delays_at_a_law();
Population chirps();
Population chirps_with_coloured_noise();
Population comings_to_rest();
Population ratio_maps();
Population speed_changes();
Population loops();
Population loops_with_friction();
Population joints();
Population bent_joints();
Population rate_limits();
Population end_stops();
Population felt_forces();
Population reactions();
Population what_is_left();
Population drop_outs();
Population searches();
Population searches_in_fine_levels();
Population changeovers();
Population silences();
Population nights();
Population skews();
Population ways();

}  // namespace trackrod::test
