#pragma once
// Tells people who are not there what happened to a run, by a program of theirs: mail, a message, a lamp.

#include <functional>
#include <memory>
#include <string>

#include "harness/base/error.hpp"
#include "harness/base/time.hpp"

namespace trackrod {

struct Notice {
  enum class Kind : std::uint8_t { ended, tripped, low_disk } kind{Kind::ended};
  std::string run;       // its folder
  std::string sentence;  // what happened, for a person
  std::string verdicts;  // "3 pass, 1 fail", once the run was scored
};

// "ended", "tripped", "low_disk"
std::string notice_name(Notice::Kind kind);

// Whether `program` can be started: a file that may be executed. Gives its whole path. Error kind bad_input.
Result<std::string> notify_program(const std::string& program);

// Starts `PROGRAM KIND RUN SENTENCE VERDICTS` for each notice, without a shell, in a process group of its own, with no
// descriptor but stderr (stdin and stdout are /dev/null), at ordinary priority. A program that takes longer than the
// limit is killed with all of its group.
class Notifier {
 public:
  // `program`: as notify_program gave it; empty: nobody is told. `on_trouble` is called with a sentence on the
  // notifier's thread when a program could not be started, failed or was killed. Make it before the process takes
  // real-time rights: the thread inherits them.
  Notifier(std::string program, std::function<void(const std::string&)> on_trouble, Duration limit = usual_limit);
  // Waits for the programs that still run, up to their limit.
  ~Notifier();
  Notifier(const Notifier&) = delete;
  Notifier& operator=(const Notifier&) = delete;

  // Returns at once; any thread but those of the loop.
  void notify(Notice notice);

  static constexpr Duration usual_limit = std::chrono::seconds{30};

 private:
  class Worker;
  std::unique_ptr<Worker> worker_;  // null: nobody is told
};

}  // namespace trackrod
