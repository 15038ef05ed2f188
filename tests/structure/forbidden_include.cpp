// Must not compile: the bench may not know the plan.
#include "harness/plan/plan.hpp"
