#include <nlohmann/json.hpp>

#include "harness/cli/commands.hpp"
#include "harness/cli/load.hpp"
#include "harness/cli/selfcheck.hpp"
#include "harness/report/text.hpp"

namespace trackrod {
namespace {

using Json = nlohmann::ordered_json;

std::string us(Duration d) { return shown(1e6 * seconds(d), 4); }

std::vector<std::string> row(const char* what, const std::optional<Quantiles>& q) {
  if (!q) return {what, "not measured"};
  return {what, us(q->p50), us(q->p99), us(q->most), std::to_string(q->count)};
}

Json as_json(const std::optional<Quantiles>& q) {
  if (!q) return nullptr;
  return {{"count", q->count},
          {"p50_us", 1e6 * seconds(q->p50)},
          {"p99_us", 1e6 * seconds(q->p99)},
          {"max_us", 1e6 * seconds(q->most)}};
}

std::string table(const SelfcheckFacts& f) {
  std::string can;
  for (const auto& name : f.can_interfaces) can += (can.empty() ? "" : ", ") + name;
  return grid({{"kernel", f.kernel + (f.realtime_kernel ? " (real-time)" : "")},
               {"cores", std::to_string(f.cores)},
               {"clock", f.clock_source},
               {"rights", f.grant.words},
               {"CAN", can.empty() ? "no interface on this machine" : can + "; not sent on"},
               {"rmem_max", std::to_string(f.receive_buffer_max) + " bytes"}}) +
         "\n" +
         grid({{"MEASURED (us)", "HALF", "99 OF 100", "WORST", "COUNT"},
               row("tick of 1 kHz, late by", f.tick_late),
               row("udp, handed over to taken", f.udp),
               row("serial (pty), handed over to taken", f.serial),
               row("64 kB written and synced", f.disk)}) +
         std::to_string(f.ticks_missed) + " ticks missed\n";
}

}  // namespace

int selfcheck_command(const SelfcheckOptions& options, Console& console) {
  const auto how_long = parse_duration("--for", options.how_long);
  if (!how_long) return console.complain(how_long.error()), bad_input;
  const auto facts = measure_host(*how_long);
  const auto lines = advice(facts);
  console.say(table(facts));
  for (const auto& trouble : facts.troubles) console.complain(trouble);
  for (const auto& line : lines) console.say("- " + line);
  console.say(lines.empty() ? "nothing to improve was found" : "");
  console.give(Json{{"kernel", facts.kernel},
                    {"realtime_kernel", facts.realtime_kernel},
                    {"cores", facts.cores},
                    {"clock_source", facts.clock_source},
                    {"real_time_priority", facts.grant.fifo},
                    {"memory_locked", facts.grant.locked},
                    {"rmem_max", facts.receive_buffer_max},
                    {"can_interfaces", facts.can_interfaces},
                    {"tick_late", as_json(facts.tick_late)},
                    {"ticks_missed", facts.ticks_missed},
                    {"udp", as_json(facts.udp)},
                    {"serial", as_json(facts.serial)},
                    {"disk", as_json(facts.disk)},
                    {"troubles", facts.troubles},
                    {"advice", lines}}
                   .dump(2) +
               "\n");
  return all_pass;
}

}  // namespace trackrod
