#pragma once
// What was shown of the interlocks of a bench, and whether it still counts: RUNS/interlock-proofs.jsonl, a line a
// proof.

#include <string>
#include <vector>

#include "harness/cli/load.hpp"

namespace trackrod {

// What a proof was given for. A proof lapses when any of it is no longer so.
struct BenchIdentity {
  std::string name, sha256;  // of the bench: all its files as they are
  std::string boot;          // of this machine: a new one after each start
};
// May block (reads where the system tells it).
BenchIdentity identity_of(const Loaded& loaded);

struct InterlockProof {
  std::string interlock;
  Proof how{Proof::none};
  std::string by;  // a person
  WallTime when;
  BenchIdentity bench;
};

// Whether a required proof stands. Pure.
struct ProofState {
  std::string interlock;
  Proof how{Proof::none};
  std::string by, when;  // of the proof that stands; empty: there is none
  std::string trouble;   // why none stands: "never", "lapsed 2 h ago"; empty: one does
};
// Of each interlock that needs a proof, in the bench's order. A proof by exercise stands for a confirmation too.
std::vector<ProofState> proof_states(const Bench& bench, const std::vector<InterlockProof>& proofs,
                                     const BenchIdentity& now_is, WallTime now);

// Lines that do not read are left out: what was not written whole proves nothing. No file: no proofs. Error kind
// storage.
Result<std::vector<InterlockProof>> read_proofs(const std::string& runs);
// On disk when it returns; makes the folder `runs` where needed. Error kind storage.
Result<void> add_proof(const std::string& runs, const InterlockProof& proof);

}  // namespace trackrod
