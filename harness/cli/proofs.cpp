#include "harness/cli/proofs.hpp"

#include <fcntl.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <filesystem>
#include <nlohmann/json.hpp>
#include <sstream>

#include "harness/base/text_file.hpp"
#include "harness/cli/run_folder.hpp"

namespace trackrod {
namespace {

using Json = nlohmann::ordered_json;

std::string file_in(const std::string& runs) { return runs + "/interlock-proofs.jsonl"; }

const char* name_of(Proof how) { return how == Proof::exercise ? "exercise" : "confirm"; }

std::int64_t seconds_since_1970(WallTime when) {
  return std::chrono::duration_cast<std::chrono::seconds>(when.time_since_epoch()).count();
}

std::optional<InterlockProof> proof_from(const std::string& line) {
  const auto j = Json::parse(line, nullptr, false);
  try {
    InterlockProof proof;
    proof.interlock = j.at("interlock");
    proof.how = j.at("how").get<std::string>() == name_of(Proof::exercise) ? Proof::exercise : Proof::confirm;
    proof.by = j.at("by");
    proof.when = WallTime{std::chrono::seconds{j.at("when_s").get<std::int64_t>()}};
    proof.bench = {j.at("bench"), j.at("bench_sha256"), j.at("boot")};
    return proof;
  } catch (const Json::exception&) {
    return {};
  }
}

// Why the proof does not count for this interlock as the bench is now; empty: it does.
std::string trouble_with(const InterlockProof& proof, const Interlock& interlock, Duration lasts,
                         const BenchIdentity& now_is, WallTime now) {
  if (interlock.proof == Proof::exercise && proof.how != Proof::exercise) return "only confirmed, not exercised";
  if (proof.bench.sha256 != now_is.sha256) return "the bench file was changed since";
  if (proof.bench.boot != now_is.boot) return "this machine was started since";
  const auto age = now - proof.when;
  if (age < Duration{}) return "it is dated in the future: the clock was set";
  if (age > lasts) return "lapsed " + shown_time(seconds(std::chrono::duration_cast<Duration>(age) - lasts)) + " ago";
  return {};
}

}  // namespace

BenchIdentity identity_of(const Loaded& loaded) {
  std::string all;
  for (const auto& [path, text] : loaded.bench_sources) all += text;
  auto boot = read_text("/proc/sys/kernel/random/boot_id");
  auto words = boot ? std::move(*boot) : std::string{};
  while (!words.empty() && words.back() == '\n') words.pop_back();
  return {loaded.bench->name, sha256(all), std::move(words)};
}

std::vector<ProofState> proof_states(const Bench& bench, const std::vector<InterlockProof>& proofs,
                                     const BenchIdentity& now_is, WallTime now) {
  std::vector<ProofState> states;
  for (const auto& interlock : bench.interlocks) {
    if (interlock.proof == Proof::none) continue;
    ProofState state{interlock.name, interlock.proof, {}, {}, "never proven"};
    for (const auto& proof : proofs) {  // the latest comes last
      if (proof.interlock != interlock.name || proof.bench.name != bench.name) continue;
      const auto trouble = trouble_with(proof, interlock, bench.proof_lasts, now_is, now);
      if (!trouble.empty() && state.trouble.empty()) continue;  // an earlier one stands
      state.trouble = trouble;
      state.by = trouble.empty() ? proof.by : "";
      state.when = trouble.empty() ? shown_wall_time(proof.when) : "";
    }
    states.push_back(std::move(state));
  }
  return states;
}

Result<std::vector<InterlockProof>> read_proofs(const std::string& runs) {
  std::error_code os;
  if (!std::filesystem::exists(file_in(runs), os)) return std::vector<InterlockProof>{};
  const auto text = read_text(file_in(runs));
  if (!text) return fail(Fault::storage, text.error().context);
  std::vector<InterlockProof> proofs;
  std::istringstream lines{*text};
  for (std::string line; std::getline(lines, line);)
    if (auto proof = proof_from(line)) proofs.push_back(std::move(*proof));
  return proofs;
}

Result<void> add_proof(const std::string& runs, const InterlockProof& proof) {
  std::error_code os;
  std::filesystem::create_directories(runs, os);
  const auto path = file_in(runs);
  const Json j{{"interlock", proof.interlock},
               {"how", name_of(proof.how)},
               {"by", proof.by},
               {"when", shown_wall_time(proof.when)},
               {"when_s", seconds_since_1970(proof.when)},
               {"bench", proof.bench.name},
               {"bench_sha256", proof.bench.sha256},
               {"boot", proof.bench.boot}};
  // After a line that was cut short by a loss of power, this one begins anew.
  const auto line = "\n" + j.dump(-1, ' ', false, Json::error_handler_t::replace) + "\n";
  const int fd = ::open(path.c_str(), O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0640);
  if (fd < 0) return fail_os(Fault::storage, "'" + path + "' cannot be written", errno);
  const bool good = ::write(fd, line.data(), line.size()) == static_cast<ssize_t>(line.size()) && fsync(fd) == 0;
  const int error = errno;
  close(fd);
  if (!good) return fail_os(Fault::storage, "'" + path + "' cannot be written", error);
  return {};
}

}  // namespace trackrod
