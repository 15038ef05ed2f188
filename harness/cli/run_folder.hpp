#pragma once
// The folder that a run leaves behind, and run.json in it: who, what, when, on which host, and why it ended.

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "harness/cli/load.hpp"

namespace trackrod {

struct SourceCopy {
  std::string path;  // as it was named
  std::string file;  // its copy in the folder
  std::string sha256;
};

// Where a recording came from that was made elsewhere.
struct ImportedFrom {
  std::string file;  // as it was named
  std::uint64_t bytes{0};
  std::string sha256;
  std::string when;                     // imported, ISO 8601
  std::vector<SourceCopy> description;  // how it was read
};

struct RunRecord {
  std::string id;
  bool rehearsal{false};
  std::string program;         // "trackrod 0.1.0"
  std::string started, ended;  // ISO 8601, local time with offset; `ended` empty while it runs, both where not known
  std::string after, from;   // the run that this one goes on from, and its first step; empty: it began at the beginning
  MadeBefore made;           // of the repeat that this run resumes, by those before it
  std::string confirmed_by;  // who armed the bench; empty in a rehearsal
  std::string and_by;        // who agreed to it besides; empty: nobody was asked
  bool unattended{false};    // nobody stayed at the bench
  std::vector<std::pair<std::string, std::string>> proofs;  // of interlocks: name, and how, by whom and when
  std::string ending;                                       // in words
  bool as_planned{false};
  bool tripped{false};
  bool refused{false};  // a device was not what bench or plan ask for; nothing moved
  bool safe_reached{false};
  double duration_s{0.0};
  std::vector<SourceCopy> bench, plan;
  Assignments set;
  std::vector<std::pair<std::string, std::string>> host;
  std::vector<std::pair<std::string, std::string>> identities;  // device, and a line of what it said of itself
  // Device, and an entry of its fault memory before and after the steps. A device without a fault memory is not named.
  std::vector<std::pair<std::string, std::string>> faults_before, faults_after;
  std::vector<std::string> invalid;  // why the run says nothing of the unit
  std::vector<std::string> notes;    // deviations, losses, what a reader must know
  std::optional<ImportedFrom> imported;
};

std::string to_json(const RunRecord& record);
Result<RunRecord> run_record_from_json(const std::string& text);

class RunFolder {
 public:
  // Makes `runs`/<time>-<plan>-<unit>-<4 digits>, with exact copies of bench and plan. Error kind storage.
  static Result<RunFolder> create(const std::string& runs, const Loaded& loaded, RunRecord& record);
  // For an imported recording: as `into`, which may not be there yet, or where that is empty as
  // `runs`/<time>-<name>-<unit>-<4 digits>. Fills the record's id. Error kinds bad_input, storage.
  static Result<RunFolder> create_for_import(const std::string& into, const std::string& runs, const std::string& name,
                                             const std::string& serial, RunRecord& record);
  // An existing one; error kind bad_input when it is none.
  static Result<RunFolder> open(const std::string& path);

  const std::string& path() const { return path_; }
  std::string file(const std::string& name) const { return path_ + "/" + name; }
  // Whole or not at all: written beside, synced, renamed.
  Result<void> write(const std::string& name, const std::string& text) const;
  Result<RunRecord> record() const;
  // Exact copies under this name, further ones under included/.
  Result<std::vector<SourceCopy>> copy(const Sources& sources, const std::string& name) const;
  // The bench and plan as they were, from the copies.
  Result<Loaded> sources(const RunRecord& record) const;

 private:
  static Result<RunFolder> make(const std::string& path);
  explicit RunFolder(std::string path) : path_{std::move(path)} {}
  std::string path_;
};

Result<void> write_text(const std::string& path, const std::string& text);
std::string sha256(const std::string& bytes);
// "2026-11-25T14:03:12+01:00"
std::string shown_wall_time(WallTime when);

}  // namespace trackrod
