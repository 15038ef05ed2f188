#pragma once
// Room on the disk that a run is recorded on: what it will need, and what is left.

#include <cstdint>
#include <optional>
#include <string>

#include "harness/cli/load.hpp"

namespace trackrod {

// What a run writes, in bytes: estimates from measurements on the demo bench (docs/run-folder.md).
struct CaptureNeed {
  double full_rate{0.0};  // of the journal, a second, while every sample is kept
  double kept_rate{0.0};  // in the long run of a repeat without end that keeps a part of its samples
  double journal{0.0};    // by its end; of a repeat without end one pass
  double archive{0.0};    // likewise
};
CaptureNeed capture_need(const Timeline& timeline, const Bench& bench, std::size_t summarised_signals);

// For whoever runs without privileges, on the file system of `path`, or of the first folder above it that is there.
// Empty: the system does not tell.
std::optional<double> free_bytes(const std::string& path);

// Kept free of a run: two minutes of its journal at full rate, and what ends it in good order. Below that it ends.
double reserve_bytes(const CaptureNeed& need);

// Refuses a run that has no room for its journal. Error kind storage: what is needed, what is there.
Result<void> check_room(const CaptureNeed& need, const std::string& runs);

}  // namespace trackrod
