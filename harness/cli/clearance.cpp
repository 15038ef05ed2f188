#include "harness/cli/clearance.hpp"

#include <unistd.h>

#include <algorithm>
#include <iostream>

#include "harness/cli/cautions.hpp"
#include "harness/cli/proofs.hpp"
#include "harness/plan/injected.hpp"

namespace trackrod {
namespace {

// The faults of the plan that two persons must agree to.
std::vector<std::string> for_two_persons(const Loaded& loaded) {
  std::vector<std::string> names;
  for (const auto& name : injected_faults(*loaded.timeline, *loaded.bench))
    if (const auto fault = loaded.bench->find_fault(name); fault && loaded.bench->faults[*fault].two_persons)
      names.push_back(name);
  return names;
}

std::string plain(const std::string& name) {
  std::string out;
  for (const char c : name)
    if (std::isspace(static_cast<unsigned char>(c)) == 0)
      out += static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
  return out;
}

Result<void> prove(const Loaded& bench, const std::string& runs, const std::optional<Interrupted>& interrupted,
                   Clearance& out) {
  auto proofs = read_proofs(runs);
  if (!proofs) return tl::unexpected<Error>{proofs.error()};
  if (interrupted)
    std::erase_if(*proofs, [&](const InterlockProof& proof) { return proof.when <= interrupted->since; });
  std::string missing;
  for (const auto& state : proof_states(*bench.bench, *proofs, identity_of(bench), std::chrono::system_clock::now())) {
    if (state.trouble.empty())
      out.proofs.emplace_back(state.interlock, (state.how == Proof::exercise ? "exercised by " : "confirmed by ") +
                                                   state.by + ", " + state.when);
    else
      missing += (missing.empty() ? "'" : ", '") + state.interlock + "' (" + state.trouble + ")";
  }
  if (missing.empty()) return {};
  return fail(Fault::bad_input, (interrupted ? "interlocks that nobody proved since the run was interrupted: "
                                             : "interlocks that nobody proved this shift: ") +
                                    missing + "; nothing was moved. Prove them: trackrod check BENCH --shift --runs " +
                                    runs);
}

// With a name on the command line alone a machine could go on by itself.
Result<void> ask_for_presence(const Bench& bench, const ArmingOptions& arming) {
  const bool exercised = std::ranges::any_of(
      bench.interlocks, [](const Interlock& interlock) { return interlock.proof == Proof::exercise; });
  if (exercised || arming.confirmed_by.empty()) return {};
  return fail(Fault::bad_input,
              "--resume on the bench '" + bench.name +
                  "', none of whose interlocks is exercised: somebody at the bench types a name at the "
                  "terminal; leave out --confirmed-by. Nothing was moved");
}

Result<void> allow_unattended(const Loaded& moved) {
  if (!moved.bench->unattended)
    return fail(Fault::bad_input, "--unattended: the bench '" + moved.bench->name +
                                      "' may not run while nobody stands at it ('unattended' in its file)");
  if (const auto faults = for_two_persons(moved); !faults.empty())
    return fail(Fault::bad_input,
                "--unattended: the plan makes '" + faults.front() + "', which needs two persons at the bench");
  return {};
}

}  // namespace

Result<std::string> name_of_person(const std::string& question, const std::string& given, const std::string& else_use,
                                   const Console& console) {
  if (!given.empty()) return given;
  if (isatty(STDIN_FILENO) == 0)
    return fail(Fault::bad_input, "nobody confirmed that the bench may move: run at a terminal, or name " + else_use);
  console.say(question);
  std::string name;
  std::getline(std::cin, name);
  if (plain(name).empty()) return fail(Fault::bad_input, "not confirmed; nothing was moved");
  return name;
}

Result<Clearance> clearance(const Loaded& bench, const Loaded& moved, const std::string& runs,
                            const ArmingOptions& arming, const Console& console,
                            const std::optional<Interrupted>& interrupted) {
  Clearance out;
  out.unattended = arming.unattended;
  if (interrupted)
    if (auto there = ask_for_presence(*bench.bench, arming); !there) return tl::unexpected<Error>{there.error()};
  if (auto proven = prove(bench, runs, interrupted, out); !proven) return tl::unexpected<Error>{proven.error()};
  if (arming.unattended)
    if (auto allowed = allow_unattended(moved); !allowed) return tl::unexpected<Error>{allowed.error()};
  console.say(cautions);
  auto name = name_of_person("Type your name to arm the bench, or nothing to leave it:", arming.confirmed_by,
                             "who stands at the bench with --confirmed-by NAME", console);
  if (!name) return tl::unexpected<Error>{name.error()};
  out.by = std::move(*name);
  const auto faults = for_two_persons(moved);
  if (faults.empty()) return out;
  console.say("The plan makes faults that two persons must agree to, such as '" + faults.front() +
              "': " + moved.bench->faults[*moved.bench->find_fault(faults.front())].what + ".");
  auto second = name_of_person("Second person, type your name to agree, or nothing to leave it:", arming.and_by,
                               "a second person, who agrees to '" + faults.front() + "', with --and-by NAME", console);
  if (!second) return tl::unexpected<Error>{second.error()};
  if (plain(*second) == plain(out.by))
    return fail(Fault::bad_input, "two persons must agree; found '" + *second + "' twice");
  out.and_by = std::move(*second);
  return out;
}

}  // namespace trackrod
