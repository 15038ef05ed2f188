#include "harness/recording/find_spans.hpp"

namespace trackrod {

void TurnFinder::take(BenchTime when, double value) {
  const Turn here{when, value};
  if (!any_) {
    low_ = high_ = here;
    any_ = true;
    return;
  }
  if (value < low_.value) low_ = here;
  if (value > high_.value) high_ = here;
  // What the first motion came from is no turn.
  if (direction_ >= 0 && high_.value - value > hysteresis_) {
    if (direction_ > 0) turns_.push_back(high_);
    direction_ = -1;
    low_ = here;
  } else if (direction_ <= 0 && value - low_.value > hysteresis_) {
    if (direction_ < 0) turns_.push_back(low_);
    direction_ = 1;
    high_ = here;
  }
}

}  // namespace trackrod
