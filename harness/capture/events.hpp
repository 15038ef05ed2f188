#pragma once
// events.jsonl: what happened in a run, in words, for people and for simple tools. Derived from the capture, which
// stays the evidence.

#include <string>

#include "harness/base/error.hpp"
#include "harness/capture/stream_header.hpp"
#include "harness/capture/view.hpp"

namespace trackrod {

// "step 'sweep' began, cycle 2". Indices that the header does not list are given as numbers.
std::string event_words(const Event& event, const StreamHeader& names);

// One JSON object a line, in the order of time: `t` (seconds since the capture's begin), `kind`, `words`, and for
// events the raw `a`, `b` and `value` (null when not finite). Notes have kind "note", gaps "gap". Error kind storage.
Result<void> write_events(const CaptureView& capture, const StreamHeader& names, const std::string& path);

}  // namespace trackrod
