// The catalogue of faults: how each is made, how it shows, and what must not come with it.

#include <algorithm>
#include <cmath>

#include "harness/base/mixed.hpp"
#include "harness/bench/draft.hpp"
#include "harness/bench/fault_kinds.hpp"

namespace trackrod {
namespace {

bool is_switched(const FaultSpec& fault) {
  const auto* of_value = std::get_if<SignalFault>(&fault.way);
  return of_value != nullptr && of_value->kind == SignalFault::Kind::set;
}

void take_sign(const written::Fault& w, FaultSpec& fault, Draft& draft) {
  if (!w.shows) {
    if (is_switched(fault))
      draft.problems.add(w.make.at, "a fault that is switched, without 'shows'",
                         "a signal of the bench that shows whether it was made",
                         "a relay may hang, and a supply may be slow: a command is no fault yet");
    return;
  }
  if (std::holds_alternative<MessageFault>(fault.way)) {
    draft.problems.add(w.shows->at, "'shows' with a fault of messages", "'shows' with faults of values only",
                       "whether messages were made wrong is told by what was sent");
    return;
  }
  const auto& sign = w.shows->value;
  const auto signal = draft.find(sign.signal, Direction::read, "'shows'");
  if (!signal) return;
  draft.must_be_bench_owned(sign.signal, *signal, "what the unit says of a fault is its reaction, not the fault");
  fault.shows = draft.limits_of(*signal, sign, w.shows->at);
  fault.shows_within = sign.within;
}

void check_safe_state(const written::Fault& w, const FaultSpec& fault, Draft& draft) {
  if (!is_switched(fault)) return;
  const auto& way = std::get<SignalFault>(fault.way);
  const bool taken_back = std::ranges::any_of(draft.bench.safe_state.actions, [&](const Action& a) {
    return a.kind == Action::Kind::set && a.signal == way.signal && a.value != way.value;
  });
  if (!taken_back)
    draft.problems.add(
        w.make.at, "the safe state does not take back what this fault does to '" + draft.info(way.signal).name + "'",
        "a line in the safe state that sets it to another value",
        "after the power was taken away: a unit that still has it might move when a fault goes");
}

std::optional<FaultSpec> resolve(const Name& name, const written::Fault& w, bool safe_state_known, Draft& draft) {
  const auto way = resolve_fault(w.make, draft);
  if (!way) return {};
  FaultSpec fault{name.value, w.what, *way, w.comes_and_goes, {}, {}, {}, w.two_persons, w.energetic.value};
  take_sign(w, fault, draft);
  if (safe_state_known) check_safe_state(w, fault, draft);
  if (fault.comes_and_goes && fault.comes_and_goes->period < 2 * draft.bench.tick)
    draft.problems.add(w.make.at, "a fault that comes and goes within two ticks of the loop", "a longer 'period'");
  return fault;
}

// Both would have to say what becomes of one message.
bool of_one_message(const FaultSpec& a, const FaultSpec& b) {
  const auto *one = std::get_if<MessageFault>(&a.way), *two = std::get_if<MessageFault>(&b.way);
  if (one == nullptr || two == nullptr || one->device != two->device) return false;
  return one->message == two->message || one->message == every_message || two->message == every_message;
}

// Of two faults that must not be made together either may say so; faults of one message never are.
void keep_apart(const written::Bench& file, Draft& draft) {
  for (const auto& [name, part] : file.faults) {
    const auto one = draft.bench.find_fault(name.value);
    for (const auto& other : part.value.not_with) {
      const auto two = draft.bench.find_fault(other.value);
      const bool known = std::ranges::any_of(file.faults, [&](const auto& f) { return f.first.value == other.value; });
      if (!known) {
        std::vector<std::string> names;
        for (const auto& f : file.faults) names.push_back(f.first.value);
        draft.problems.add(other.at, "no fault '" + other.value + "'", "another fault of this bench",
                           did_you_mean(other.value, names));
      } else if (other.value == name.value) {
        draft.problems.add(other.at, "'" + name.value + "' not with itself", "another fault of this bench");
      }
      if (!one || !two || *one == *two) continue;
      draft.bench.faults[*one].not_with.push_back(*two);
      draft.bench.faults[*two].not_with.push_back(*one);
    }
  }
  auto& faults = draft.bench.faults;
  for (std::size_t i = 0; i < faults.size(); ++i)
    for (std::size_t k = 0; k < faults.size(); ++k)
      if (i != k && of_one_message(faults[i], faults[k])) faults[i].not_with.push_back(k);
  for (auto& fault : faults) {
    std::ranges::sort(fault.not_with);
    fault.not_with.erase(std::unique(fault.not_with.begin(), fault.not_with.end()), fault.not_with.end());
  }
}

}  // namespace

std::vector<KindEntry> fault_kinds() {
  auto all = value_fault_kinds();
  for (auto& kind : message_fault_kinds()) all.push_back(std::move(kind));
  return all;
}

std::optional<FaultWay> resolve_fault(const Chosen& make, Draft& draft) {
  if (const auto of_value = resolve_value_fault(make, draft)) return *of_value;
  if (const auto of_messages = resolve_message_fault(make, draft)) return *of_messages;
  return {};
}

bool moves_an_axis(SignalIndex signal, const Bench& bench) {
  return std::ranges::any_of(bench.axes, [&](const AxisSpec& axis) {
    return std::ranges::any_of(axis.modes, [&](const AxisMode& mode) { return mode.setpoint == signal; });
  });
}

bool Intermittence::there(Duration since) const noexcept {
  if (since < Duration{}) return false;
  const auto turn = static_cast<std::uint64_t>(since / period);
  const double place = static_cast<double>((since % period).count()) / static_cast<double>(period.count());
  const double from = (1.0 - share) * uniform(mixed(mixed(seed) + turn));
  return place >= from && place < from + share;
}

void resolve_faults(const written::Bench& file, Draft& draft) {
  const bool safe_state_known = draft.safe_state_known(file);
  for (const auto& [name, part] : file.faults)
    if (part.good)
      if (auto fault = resolve(name, part.value, safe_state_known, draft))
        draft.bench.faults.push_back(std::move(*fault));
  keep_apart(file, draft);
}

}  // namespace trackrod
