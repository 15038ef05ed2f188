#pragma once
// The sub-commands. Each returns the program's exit status. The option table in options.cpp fills the structs.

#include <string>
#include <vector>

#include "harness/cli/console.hpp"

namespace trackrod {

struct PlanChoice {
  std::string bench, plan;
  std::vector<std::string> set;
};

// Who answers for the bench while it moves.
struct ArmingOptions {
  std::string confirmed_by;  // stands at the bench and has read the cautions; empty: ask
  std::string and_by;        // a second person, where the plan's faults ask for two; empty: ask
  bool unattended{false};    // nobody stays at the bench
};

// A small motion that shows whether a signal drives what it should, the right way round.
struct NudgeOptions {
  std::string signal;  // empty: none
  std::string by;      // how far; empty: a hundredth of the signal's range
};
// Interlocks proven for a shift.
struct ShiftOptions {
  bool wanted{false};
  std::string within{"60 s"};        // time to break each interlock, and to let it hold again
  std::vector<std::string> confirm;  // interlocks that the person has looked at; else asked at the terminal
};
struct CheckOptions {
  PlanChoice files;
  bool live{false};
  std::string how_long{"3 s"};  // the model of a device's clock takes more than two
  NudgeOptions nudge;
  ShiftOptions shift;
  std::string runs{"runs"};  // of a nudge the run folder, of a shift the proofs
  ArmingOptions arming;
};
int check_command(const CheckOptions& options, Console& console);

struct ListenOptions {
  std::string bench, device;
  std::string how_long{"10 s"};
  std::size_t count{1000000};
};
int listen_command(const ListenOptions& options, Console& console);

struct SelfcheckOptions {
  std::string how_long{"5 s"};
};
int selfcheck_command(const SelfcheckOptions& options, Console& console);

struct PreviewChoice {
  PlanChoice files;
  std::string svg;  // where to write the picture; empty: none
};
int preview_command(const PreviewChoice& options, Console& console);

struct RehearseOptions {
  PlanChoice files;
  std::string runs{"runs"};
  std::string truth;  // empty: truth.json beside the bench file
  std::vector<std::string> truth_set;
  unsigned long seed{1};
};
int rehearse_command(const RehearseOptions& options, Console& console);

struct RunOptions {
  PlanChoice files;
  std::string after, from;  // a run that was cut short, and the step to go on from; empty: none, its first one left
  std::string resume;       // a long run that stopped in its repeat; then there are no `files`
  std::string runs{"runs"};
  std::string notify;  // program to start when something happens; empty: none
  ArmingOptions arming;
};
int run_command(const RunOptions& options, Console& console);

struct FollowOptions {
  std::string run;
};
int follow_command(const FollowOptions& options, Console& console);

// A recording made elsewhere, and how it is read.
struct ImportChoice {
  std::string file, as;
  std::string into;  // the folder to make; empty: one in `runs`
  std::string runs{"runs"};
};
// Which stretches of a recording stand for steps.
struct SpanOptions {
  std::string file;                // empty: none
  std::vector<std::string> find;   // "steps", "sweeps", "holds"
  std::vector<std::string> names;  // of each `find`, with commas between
  std::string in;                  // the signal to look in
  std::string from, to;            // the time to look in; empty: from the beginning, to the end
  std::string least, tolerance;    // of a hold; empty: as the finder has them
};
struct ImportOptions {
  ImportChoice recording;
  SpanOptions spans;
};
int import_command(const ImportOptions& options, Console& console);

struct ScoreOptions {
  std::string run;  // a run folder, or a recording made elsewhere
  // Of a recording, or of the folder that was made of one.
  std::string as, plan;
  std::vector<std::string> set;
  SpanOptions spans;
  std::string runs{"runs"};
};
int score_command(const ScoreOptions& options, Console& console);

struct ReportOptions {
  std::vector<std::string> runs;  // folders of runs of one plan
  std::string sign_off;           // file of waivers and repeats; empty: none
  std::string on;                 // day on which waivers are looked at; empty: today
};
int report_command(const ReportOptions& options, Console& console);

struct HistoryOptions {
  std::string runs{"runs"};  // folder of the runs
  std::string ledger;        // connection string; empty: the environment's, else the file in `runs`
  bool rebuild{false};
  std::string unit, plan, bench, since, until, finding, step, requirement, verdict;  // empty: all
  bool rehearsals{false}, every_scoring{false}, plot{false};
  std::string csv, svg;  // files to write; empty: none
};
int history_command(const HistoryOptions& options, Console& console);

// A skew from a finished run into a file of the bench. Drives nothing.
struct CalibrateOptions {
  std::vector<std::string> skew;   // the signal that is late, and the one that it is held against
  std::string run;                 // its folder
  std::vector<std::string> steps;  // empty: all
  std::string bench, into;
  std::string sign, longest;  // settings of the score; empty: as it has them
};
int calibrate_command(const CalibrateOptions& options, Console& console);

struct SimulateOptions {
  std::string bench;
  std::string truth;
  std::vector<std::string> set;
  std::string log;
  unsigned long seed{1};
};
int simulate_command(const SimulateOptions& options, Console& console);

struct SchemaOptions {
  std::string of;  // "bench", "plan", "truth", "import", "spans" or "sign-off"
};
int schema_command(const SchemaOptions& options);

// What the keeper starts; not for people.
struct LoopOptions {
  int shared{-1}, keeper{-1}, job{-1};
  std::vector<int> links;
};
int loop_command(const LoopOptions& options);
struct ArchiveOptions {
  std::string run;
};
int archive_command(const ArchiveOptions& options, Console& console);

}  // namespace trackrod
