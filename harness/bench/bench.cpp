#include "harness/bench/bench.hpp"

namespace trackrod {

std::string control_mode_name(ControlMode mode) {
  switch (mode) {
    case ControlMode::position:
      return "position";
    case ControlMode::velocity:
      return "velocity";
    case ControlMode::torque:
      return "torque";
    case ControlMode::impedance:
      return "impedance";
    case ControlMode::free:
      return "free";
  }
  return "";
}

std::vector<SignalIndex> LoadSpec::drives() const {
  std::vector<SignalIndex> all{force};
  for (const auto signal : {yaw_rate, lateral_acceleration})
    if (signal != no_signal) all.push_back(signal);
  return all;
}

std::optional<SignalIndex> Bench::find(const std::string& signal) const {
  for (std::size_t i = 0; i < signals.size(); ++i)
    if (signals[i].info.name == signal) return static_cast<SignalIndex>(i);
  return std::nullopt;
}

std::optional<std::size_t> Bench::find_device(const std::string& device) const {
  for (std::size_t i = 0; i < devices.size(); ++i)
    if (devices[i].name == device) return i;
  return std::nullopt;
}

std::optional<std::size_t> Bench::find_fault(const std::string& fault) const {
  for (std::size_t i = 0; i < faults.size(); ++i)
    if (faults[i].name == fault) return i;
  return std::nullopt;
}

std::vector<std::string> Bench::signal_names() const {
  std::vector<std::string> names;
  for (const auto& s : signals) names.push_back(s.info.name);
  return names;
}

std::vector<SignalInfo> Bench::signal_infos() const {
  std::vector<SignalInfo> infos;
  for (const auto& s : signals) infos.push_back(s.info);
  return infos;
}

}  // namespace trackrod
