#pragma once
// What a report tells of a trip: what broke first, its values about that instant, and what of the run stays valid.

#include <optional>

#include "harness/capture/stream_header.hpp"
#include "harness/capture/view.hpp"
#include "harness/cli/run_folder.hpp"
#include "harness/report/html.hpp"

namespace trackrod {

// Nothing where the run did not trip.
std::optional<TripFacts> trip_facts(const RunRecord& record, const Loaded& loaded, const CaptureView& capture,
                                    const StreamHeader& header);

}  // namespace trackrod
