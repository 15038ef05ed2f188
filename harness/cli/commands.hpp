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

struct CheckOptions {
  PlanChoice files;
};
int check_command(const CheckOptions& options, Console& console);

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
  std::string runs{"runs"};
  std::string confirmed_by;  // who stands at the bench and has read the cautions; empty: ask
};
int run_command(const RunOptions& options, Console& console);

struct ScoreOptions {
  std::string run;
};
int score_command(const ScoreOptions& options, Console& console);

struct ReportOptions {
  std::string run;
};
int report_command(const ReportOptions& options, Console& console);

struct SimulateOptions {
  std::string bench;
  std::string truth;
  std::vector<std::string> set;
  std::string log;
  unsigned long seed{1};
};
int simulate_command(const SimulateOptions& options, Console& console);

struct SchemaOptions {
  std::string of;  // "bench" or "plan"
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
