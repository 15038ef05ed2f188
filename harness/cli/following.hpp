#pragma once
// The keeper's side of a run that is followed: a process of its own, behind the bench, so that what it does cannot
// delay the loop or take the run down.

#include <sys/types.h>

#include <functional>
#include <string>
#include <thread>

#include "harness/base/error.hpp"

namespace trackrod {

class Following {
 public:
  // Follows the run in `folder` (follower.hpp). `on_limit` is called on a thread of its own with the sentence that a
  // limit that stops the repeat was passed. Error kind internal.
  static Result<Following> start(const std::string& folder, std::function<void(const std::string&)> on_limit);
  Following(Following&& other) noexcept;
  Following& operator=(Following&&) = delete;
  ~Following();

  // The journal is whole: waits until all of it is worked out. One that died is started again for that. Error kind
  // storage, and everything stays in the journal.
  Result<void> finish();

 private:
  Following(std::string folder, pid_t pid, int input, std::thread reader);
  bool end();

  std::string folder_;
  pid_t pid_;
  int input_;  // its end of file tells the process that no more is written
  std::thread reader_;
};

}  // namespace trackrod
