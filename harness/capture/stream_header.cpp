#include "harness/capture/stream_header.hpp"

#include <limits>
#include <nlohmann/json.hpp>

namespace trackrod {
namespace {

using Json = nlohmann::json;

Json json_of(const SignalInfo& s) {
  const auto& c = s.calibration;
  return {{"name", s.name},
          {"unit", s.unit},
          {"direction", s.direction == Direction::drive ? "drive" : "read"},
          {"device", s.device},
          {"location", s.location},
          {"positive", s.positive},
          {"bench_owned", s.bench_owned},
          {"resolution", s.resolution},
          {"resolution_offset", s.resolution_offset},
          {"range", {s.range_low, s.range_high}},
          {"max_slew", s.max_slew},
          {"delay_ns", s.delay.count()},
          {"delay_uncertainty_ns", s.delay_uncertainty.count()},
          {"skew",
           {{"against", s.skew.against},
            {"value_ns", s.skew.value.count()},
            {"uncertainty_ns", s.skew.uncertainty.count()},
            {"date", s.skew.date},
            {"due", s.skew.due},
            {"used", s.skew.used}}},
          {"clock_asymmetry_ns", s.clock_asymmetry.count()},
          {"clock", s.clock},
          {"calibration",
           {{"gain", c.gain},
            {"offset", c.offset},
            {"standard_uncertainty", c.standard_uncertainty},
            {"gain_uncertainty", c.gain_uncertainty},
            {"date", c.date},
            {"due", c.due},
            {"certificate", c.certificate}}}};
}

double number(const Json& j) { return j.is_null() ? std::numeric_limits<double>::quiet_NaN() : j.get<double>(); }

SignalInfo signal_of(const Json& j) {
  SignalInfo s;
  s.name = j.at("name");
  s.unit = j.at("unit");
  s.direction = j.at("direction") == "drive" ? Direction::drive : Direction::read;
  s.device = j.at("device");
  s.location = j.at("location");
  s.positive = j.at("positive");
  s.bench_owned = j.at("bench_owned");
  s.resolution = number(j.at("resolution"));
  s.resolution_offset = number(j.at("resolution_offset"));
  s.range_low = number(j.at("range").at(0));
  s.range_high = number(j.at("range").at(1));
  s.max_slew = number(j.at("max_slew"));
  s.delay = Duration{j.at("delay_ns").get<std::int64_t>()};
  s.delay_uncertainty = Duration{j.at("delay_uncertainty_ns").get<std::int64_t>()};
  if (const auto skew = j.find("skew"); skew != j.end())  // captures from before there were skews have none
    s.skew = {skew->at("against"),
              Duration{skew->at("value_ns").get<std::int64_t>()},
              Duration{skew->at("uncertainty_ns").get<std::int64_t>()},
              skew->at("date"),
              skew->at("due"),
              skew->at("used")};
  s.clock_asymmetry = Duration{j.at("clock_asymmetry_ns").get<std::int64_t>()};
  s.clock = j.at("clock");
  const auto& c = j.at("calibration");
  s.calibration = {number(c.at("gain")),
                   number(c.at("offset")),
                   number(c.at("standard_uncertainty")),
                   number(c.at("gain_uncertainty")),
                   c.at("date"),
                   c.at("due"),
                   c.at("certificate")};
  return s;
}

StreamHeader header_of(const Json& j) {
  StreamHeader h;
  h.run_id = j.at("run");
  h.config_hash = j.at("config_hash");
  h.tick = Duration{j.at("tick_ns").get<std::int64_t>()};
  h.clock.bench = BenchTime{Duration{j.at("clock").at("bench_ns").get<std::int64_t>()}};
  h.clock.wall_ns = j.at("clock").at("wall_ns").get<std::int64_t>();
  for (const auto& s : j.at("signals")) h.signals.push_back(signal_of(s));
  for (const auto& s : j.at("steps")) h.steps.push_back({s.at("id").get<std::uint32_t>(), s.at("name")});
  h.devices = j.at("devices").get<std::vector<std::string>>();
  h.interlocks = j.at("interlocks").get<std::vector<std::string>>();
  // Captures from before there were faults have none.
  if (const auto faults = j.find("faults"); faults != j.end()) h.faults = faults->get<std::vector<std::string>>();
  return h;
}

}  // namespace

std::string step_name(const StreamHeader& header, std::uint32_t id) {
  for (const auto& s : header.steps)
    if (s.id == id) return s.name;
  return "step " + std::to_string(id);
}

std::string to_json(const StreamHeader& h) {
  auto signals = Json::array(), steps = Json::array();
  for (const auto& s : h.signals) signals.push_back(json_of(s));
  for (const auto& s : h.steps) steps.push_back({{"id", s.id}, {"name", s.name}});
  const Json j{{"run", h.run_id},
               {"config_hash", h.config_hash},
               {"tick_ns", h.tick.count()},
               {"clock", {{"bench_ns", h.clock.bench.time_since_epoch().count()}, {"wall_ns", h.clock.wall_ns}}},
               {"signals", signals},
               {"steps", steps},
               {"devices", h.devices},
               {"interlocks", h.interlocks},
               {"faults", h.faults}};
  // A name that is not UTF-8 must not end a run: its odd bytes are replaced.
  return j.dump(-1, ' ', false, Json::error_handler_t::replace);
}

Result<StreamHeader> stream_header_from_json(const std::string& text) {
  try {
    return header_of(Json::parse(text));
  } catch (const Json::exception& e) {
    return fail(Fault::bad_frame, std::string{"the stream header is not as the format says: "} + e.what());
  }
}

}  // namespace trackrod
