#pragma once
// The words that stand before anything moves.

namespace trackrod {

inline constexpr char cautions[] =
    "CAUTION: this bench moves by itself, and the unit under test can drive with full torque at any time.\n"
    "  - Keep hands, hair and clothing out of the guard; beware of pinch points and of stored energy in supplies.\n"
    "  - Know where the hard-wired emergency stop is, and that it was exercised this shift. Ctrl-C stops the run in "
    "good\n"
    "    order; it is an addition to the hard-wired stop and never replaces it.\n"
    "  - Local rules and the instructions of qualified people come first.";

}  // namespace trackrod
