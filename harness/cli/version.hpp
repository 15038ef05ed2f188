#pragma once

namespace trackrod {

inline constexpr char program_version[] = "trackrod " TRACKROD_VERSION;

}  // namespace trackrod
