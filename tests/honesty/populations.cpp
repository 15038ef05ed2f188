#include "tests/honesty/all.hpp"

namespace trackrod::test {

const std::vector<Population>& populations() {
  static const std::vector<Population> all{step_answers(),
                                           fast_step_answers(),
                                           well_damped_step_answers(),
                                           delays(),
                                           delays_with_friction(),
                                           delays_at_a_law(),
                                           chirps(),
                                           chirps_with_coloured_noise(),
                                           loops(),
                                           loops_with_friction(),
                                           joints(),
                                           bent_joints(),
                                           comings_to_rest(),
                                           ratio_maps(),
                                           speed_changes(),
                                           rate_limits(),
                                           end_stops(),
                                           felt_forces(),
                                           reactions(),
                                           what_is_left(),
                                           drop_outs(),
                                           searches(),
                                           searches_in_fine_levels(),
                                           changeovers(),
                                           silences(),
                                           nights(),
                                           skews(),
                                           ways()};
  return all;
}

}  // namespace trackrod::test
