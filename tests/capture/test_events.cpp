#include <nlohmann/json.hpp>
#include <sstream>

#include "harness/capture/events.hpp"
#include "harness/capture/memory_capture.hpp"
#include "tests/capture/helpers.hpp"
#include "tests/catch.hpp"

using namespace trackrod;
using namespace trackrod::test;

TEST_CASE("events.jsonl tells in words what happened, in the order of time") {
  Folder folder;
  MemoryCapture capture{small_header()};
  capture.put(Event{at(5s), 0.0, 2, 1, EventKind::state_changed});
  capture.put(Event{at(6s), 0.0, 3, 1, EventKind::step_started});
  capture.put(Event{at(8s), 4.25, static_cast<std::uint32_t>(TripCause::interlock), 0, EventKind::tripped});
  capture.put(Event{at(8500ms), 0.31, 0, 1, EventKind::safe_done});
  capture.put(Note{at(7s), 0, "undefined header"});
  REQUIRE(write_events(capture, capture.header(), folder / "events.jsonl"));
  std::istringstream lines{read_file(folder / "events.jsonl")};
  std::vector<nlohmann::json> events;
  for (std::string line; std::getline(lines, line);) events.push_back(nlohmann::json::parse(line));
  REQUIRE(events.size() == 5);
  CHECK(events[0]["t"] == 0.0);
  CHECK(events[0]["words"] == "state cold -> armed");
  CHECK(events[1]["kind"] == "step_started");
  CHECK(events[1]["words"] == "step 'sweep', cycle 2, began");
  CHECK(events[2]["kind"] == "note");
  CHECK(events[2]["words"] == "device 'bench_io': undefined header");
  CHECK(events[3]["t"] == 3.0);
  CHECK(events[3]["words"] == "tripped: interlock 'hand torque' broken at 4.25");
  CHECK(events[3]["value"] == 4.25);
  const std::string unproven = events[4]["words"];
  CHECK(unproven.find("emergency stop") != std::string::npos);
}

TEST_CASE("a device lost while the loop stood still sends the reader to the computer first") {
  const auto cause = static_cast<std::uint32_t>(TripCause::device_lost);
  const auto words = [&](double stood_still) {
    return event_words({at(1s), stood_still, cause, 0, EventKind::tripped}, small_header());
  };
  CHECK(words(0.0) == "tripped: device 'bench_io' lost");
  CHECK(words(0.0488).find("stood still for 48.8 ms") != std::string::npos);
}

TEST_CASE("every kind of event has words of its own") {
  std::vector<std::string> all;
  for (std::uint16_t kind = 0; kind <= static_cast<std::uint16_t>(EventKind::inspected); ++kind) {
    const Event e{at(1s), 1.0, 0, 0, static_cast<EventKind>(kind)};
    CHECK(event_kind_name(e.kind).rfind("event ", 0) != 0);
    all.push_back(event_words(e, small_header()));
  }
  std::sort(all.begin(), all.end());
  CHECK(std::adjacent_find(all.begin(), all.end()) == all.end());
  CHECK(event_words({at(1s), 0.0, 0, 0, static_cast<EventKind>(500)}, small_header()) == "event 500");
}

TEST_CASE("events.jsonl that cannot be written is an error that names the file") {
  MemoryCapture capture{small_header()};
  const auto written = write_events(capture, capture.header(), "/proc/none/events.jsonl");
  REQUIRE_FALSE(written);
  CHECK(written.error().fault == Fault::storage);
  CHECK(written.error().context.find("events.jsonl") != std::string::npos);
}
