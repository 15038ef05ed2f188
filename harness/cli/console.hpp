#pragma once
// What the program says: results to stdout, everything else to stderr. With --json, stdout carries JSON alone and
// people's text goes to stderr.

#include <string>

#include "harness/base/error.hpp"
#include "harness/base/problems.hpp"

namespace trackrod {

// Exit statuses; where several apply, the first of 2, 5, 3, 1, 4, 0 wins.
enum ExitStatus : int {
  all_pass = 0,
  a_fail = 1,
  bad_input = 2,      // usage, bench or plan: nothing was started
  tripped = 3,        // tripped or stopped
  inconclusive = 4,   // no fail, but an inconclusive or not run
  harness_failed = 5  // the harness itself, or a link to the bench, failed
};

class Console {
 public:
  explicit Console(bool json);
  bool json() const { return json_; }
  // For people: stdout, or stderr with --json.
  void say(const std::string& text) const;
  // For programs: only with --json.
  void give(const std::string& json_text) const;
  // Something is wrong.
  void complain(const std::string& text) const;
  void complain(const Error& error) const { complain(error.context); }
  void complain(const Problems& problems) const;
  // One line that replaces the last one on a terminal, a plain line elsewhere.
  void progress(const std::string& line);
  void end_progress();

  int width() const { return width_; }
  bool colour() const { return colour_; }
  bool unicode() const { return unicode_; }
  bool terminal() const { return terminal_; }

 private:
  bool json_, terminal_, colour_, unicode_;
  int width_;
  bool in_progress_{false};
};

// The exit status for an error's kind.
ExitStatus status_of(const Error& error);

// "1 min 23 s"
std::string shown_time(double seconds);

}  // namespace trackrod
