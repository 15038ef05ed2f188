#pragma once
// What people decide about a sign-off matrix: waivers of cells, and why runs were made again. A JSON file.

#include <string>
#include <vector>

#include "harness/base/fields.hpp"

namespace trackrod {

struct WrittenWaiver {
  Name fault;                                // a row of the matrix
  Located<std::vector<std::string>> points;  // its columns
  std::string reason, by;
  std::string date;  // ISO 8601 day
  Located<std::string> expires;
};

// Why a run was made again. Of the three first, earlier attempts at the cells it tried say nothing any more of the unit
// as it is.
enum class RepeatReason { bench_fault, wrong_set_up, unit_repaired, planned };
std::string repeat_reason_name(RepeatReason reason);

struct WrittenRepeat {
  Name run;  // identifier of the later one
  RepeatReason reason{RepeatReason::planned};
  std::string note, by, date;
};

struct SignOffFile {
  std::vector<Located<WrittenWaiver>> waivers;
  std::vector<WrittenRepeat> repeats;
};

// Tells what is wrong with the file itself; whether its names are those of a matrix is looked at where there is one.
SignOffFile parse_sign_off_file(const std::string& text, const std::string& file, Problems& problems);
// The JSON Schema of such files, for editors.
std::string sign_off_schema();

}  // namespace trackrod
